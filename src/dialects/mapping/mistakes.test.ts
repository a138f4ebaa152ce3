import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { TuckpointError } from '#core/errors';
import { trafficDifference } from '#core/traffic';
import { dialectFromMapping } from './index.ts';

const page = readFileSync(new URL('../../../docs/mapping.md', import.meta.url), 'utf8');
const block = (language: string) => new RegExp(`\`\`\`${language}\n([\\s\\S]*?)\`\`\``).exec(page)![1]!;
/** The example of the user's page: what it promises is checked here. */
const GROYNE = block('groyne');
const MAPPING = block('yaml');

const dialectOf = (yaml: string) => dialectFromMapping({ name: 'groyne.yaml', text: yaml });
const groyne = dialectOf(MAPPING);
const read = (text: string, dialect = groyne) => dialect.read([{ name: 'gull-quay.conf', text }]);
const policy = (text: string, dialect = groyne) => dialect.policy(read(text, dialect))!;
const failure = (run: () => unknown): TuckpointError => {
  try {
    run();
  } catch (error) {
    if (error instanceof TuckpointError) return error;
    throw error;
  }
  throw new Error('nothing was refused');
};

describe('a mapping file with mistakes', () => {
  test.each<[string, string, RegExp]>([
    [
      'a wrong format',
      MAPPING.replace('format: braces', 'format: brackets'),
      /^groyne\.yaml:4:9: format: Invalid option/,
    ],
    [
      'an unknown field',
      MAPPING.replace('    zone: basin', '    zone: basin\n    colour: red'),
      /^groyne\.yaml:17:5: interfaces\[0\]: Unrecognized key: "colour"/,
    ],
    [
      'a capture that is not there',
      MAPPING.replace('value: "{value}"', 'value: "{worth}"'),
      /^groyne\.yaml:20:12: addresses\[0\]\.value: The capture \{worth\} does not stand in "at"\./,
    ],
    [
      'a path that cannot be read',
      MAPPING.replace('source: callers', 'source: "callers//x"'),
      /rules\[0\]\.source: This path cannot be read: a step of the path is empty\./,
    ],
    [
      'a missing field',
      MAPPING.replace('    action: then\n', ''),
      /^groyne\.yaml:\d+:\d+: rules\[0\]\.action: "action" is missing/,
    ],
    ['no YAML', `${MAPPING}\n  - ][`, /^groyne\.yaml:\d+:\d+: This is not YAML: /],
    [
      'a key twice',
      `${MAPPING}\nname: other\n`,
      new RegExp(
        `^groyne.yaml:${MAPPING.split('\n').length + 1}:1: This is not YAML: Map keys must be unique`,
      ),
    ],
  ])('names %s with its line', (_, yaml, message) => {
    expect(failure(() => dialectOf(yaml)).text).toMatch(message);
  });
  test('names the further mistakes too', () => {
    const yaml = MAPPING.replace('format: braces', 'format: brackets').replace(
      'kind: masquerade',
      'kind: magic',
    );
    expect(failure(() => dialectOf(yaml)).advice).toMatch(
      /^1 more mistake follows in this file: line \d+: Invalid option/,
    );
  });
  test('that grows by aliases, or is huge, is refused', () => {
    const bomb = `a: &a [x, x]\n${Array.from({ length: 30 }, (_, i) => `b${i}: &b${i} [*${i === 0 ? 'a' : `b${i - 1}`}, *${i === 0 ? 'a' : `b${i - 1}`}]`).join('\n')}`;
    expect(failure(() => dialectOf(bomb)).code).toBe('dialects/mapping');
    expect(failure(() => dialectOf('#'.repeat(5_000_000))).code).toBe('dialects/mapping');
  });
  test('a key of many lines is quoted in one', () => {
    const deep = `${MAPPING}\n${'? '.repeat(100)}a\n`;
    expect(failure(() => dialectOf(deep)).message).toMatch(/^Unrecognized key: ".{100,240} …\.$/);
  });
  const cut = fc.tuple(
    fc.nat(),
    fc.nat(60),
    fc.constantFrom('', '"', '{', '}', '[', ':', '- ', '\n', '*', '&a ', '{x}', '/', '.'),
  );
  const mangle = (text: string, cuts: readonly (readonly [number, number, string])[]) =>
    cuts.reduce(
      (t, [at, length, what]) => t.slice(0, at % t.length) + what + t.slice((at % t.length) + length),
      text,
    );
  test('mangled at random, it and the text it reads give an answer or one sentence (fuzz)', () => {
    fc.assert(
      fc.property(fc.array(cut, { maxLength: 2 }), fc.array(cut, { maxLength: 3 }), (mapCuts, textCuts) => {
        try {
          const dialect = dialectOf(mangle(MAPPING, mapCuts));
          trafficDifference(
            policy(GROYNE),
            dialect.policy(read(mangle(GROYNE, textCuts), dialect)) ?? { pipelines: [], unread: [] },
          );
        } catch (error) {
          if (!(error instanceof TuckpointError)) throw error;
          expect(error.message.split('\n')).toHaveLength(1);
          expect(error.place?.line).toBeGreaterThan(0);
        }
      }),
      { numRuns: 200 },
    );
  });
});
