import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { compareVersions, isVersion, parseVersion, sameRelease } from './index.ts';

const rising = (names: readonly string[]) => {
  for (const [i, older] of names.entries()) {
    for (const newer of names.slice(i + 1)) {
      expect(compareVersions(older, newer), `${older} before ${newer}`).toBeLessThan(0);
      expect(compareVersions(newer, older), `${newer} after ${older}`).toBeGreaterThan(0);
    }
  }
};

describe('the order of releases', () => {
  it('is the one printed in Semantic Versioning 2.0.0, item 11', () => {
    rising(['1.0.0', '2.0.0', '2.1.0', '2.1.1']);
    rising([
      '1.0.0-alpha',
      '1.0.0-alpha.1',
      '1.0.0-alpha.beta',
      '1.0.0-beta',
      '1.0.0-beta.2',
      '1.0.0-beta.11',
      '1.0.0-rc.1',
      '1.0.0',
    ]);
  });

  it('is the one GNU coreutils 9.1 `sort -V` prints for names without early suffixes', () => {
    rising(['3.9', '4.0', '4.0.1', '4.0.9', '4.0.10', '4.2.0', '4.2.0p1', '4.2.0p2', '4.2.0p10', '4.10.0']);
  });

  it('takes a missing number for 0 and leading zeros for nothing', () => {
    expect(compareVersions('4.2', '4.2.0')).toBe(0);
    expect(compareVersions('v4.02', '4.2')).toBe(0);
    expect(sameRelease('4.2', '4.2.0')).toBe(true);
  });

  it('puts a build and a patch letter after the release (common practice, no source)', () => {
    rising(['4.2.0-rc2', '4.2.0', '4.2.0 build 999', '4.2.0 build 1187', '4.2.1']);
    rising(['4.2.0', '4.2.0a', '4.2.0b']);
  });

  it('does not lose digits of very long numbers', () => {
    rising(['1.90071992547409930', '1.90071992547409931']);
  });

  it('is a total order', () => {
    const part = fc.constantFrom('0', '1', '2', '10', '02');
    const suffix = fc.constantFrom('', '-rc1', '-rc2', 'a', ' build 3', '-alpha.1', 'p2', '-1');
    const name = fc
      .tuple(fc.array(part, { minLength: 1, maxLength: 3 }), suffix)
      .map(([numbers, end]) => `${numbers.join('.')}${end}`);
    fc.assert(
      fc.property(name, name, name, (a, b, c) => {
        expect(Math.sign(compareVersions(a, b)) + Math.sign(compareVersions(b, a))).toBe(0);
        if (compareVersions(a, b) <= 0 && compareVersions(b, c) <= 0) {
          expect(compareVersions(a, c)).toBeLessThanOrEqual(0);
        }
      }),
    );
  });

  it('refuses a name that does not begin with a number, in one sentence', () => {
    expect(isVersion('latest')).toBe(false);
    expect(() => parseVersion('latest')).toThrow('"latest" is no release this can be put in order by.');
    expect(sameRelease('latest', 'latest')).toBe(true);
    expect(sameRelease('latest', '4.2')).toBe(false);
  });
});
