import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { TuckpointError } from '#core/errors';
import { nftables } from './index.ts';
import { SOUND } from './sound.reference.ts';

/** What reading and compiling a text comes to: the error's code and place, or `read`. Other errors are mistakes. */
function outcome(text: string, name = 'gateway.nft'): string {
  try {
    nftables.policy(nftables.read([{ name, text }]));
    return 'read';
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    return `${error.code} ${error.place?.file}:${error.place?.line}`;
  }
}

describe('a ruleset that cannot be read whole gets one sentence with its place', () => {
  it.each([
    ['cut off inside a block', 'table ip t {\n chain c {\n accept\n', 'dialects/truncated gateway.nft:2'],
    [
      'cut off inside a quoted text',
      'table ip t {\n chain c {\n log prefix "moo',
      'dialects/truncated gateway.nft:3',
    ],
    [
      'nested beyond reason',
      `table ip t { chain c {\n ip saddr ${'{'.repeat(50_000)}`,
      'dialects/too-deep gateway.nft:2',
    ],
    [
      'of blocks in blocks',
      `table ip t { chain c {\n${'jump { '.repeat(50_000)}`,
      'dialects/too-deep gateway.nft:2',
    ],
    ['of nothing it knows', 'gangway\n'.repeat(20_000), 'dialects/not-a-ruleset gateway.nft:10001'],
    ['JSON cut off', '{"nftables": [\n{"table": {"family": "ip"', 'dialects/truncated gateway.nft:2'],
    ['JSON nested beyond reason', `{"nftables": [\n${'['.repeat(50_000)}`, 'dialects/too-deep gateway.nft:2'],
    ['JSON that is none', '{"nftables": [\n{"table": ferry}]}', 'dialects/not-json gateway.nft:2'],
  ])('%s', (_, text, expected) => {
    expect(outcome(text)).toBe(expected);
  });

  it('files that include each other', () => {
    const files = [
      { name: 'a.nft', text: 'include "b.nft"\n' },
      { name: 'b.nft', text: 'include "a.nft"\n' },
    ];
    expect(() => nftables.read(files)).toThrow(expect.objectContaining({ code: 'dialects/too-deep' }));
  });

  it('a family that does not exist is named, and the rest is read', () => {
    const { opaque, objects } = nftables.read([
      { name: 'g', text: 'table ipx t {\n chain c { accept; }\n}\ntable ip t { chain c { accept; }; }\n' },
    ]);
    expect(opaque).toMatchObject([{ place: { line: 1, endLine: 3 }, why: 'the family "ipx" is not known' }]);
    expect(objects.filter((object) => object.kind === 'rule')).toHaveLength(1);
  });
});

describe('size', () => {
  it('a set of a million addresses is read and asked about', () => {
    const elements = Array.from(
      { length: 1_000_000 },
      (_, i) => `10.${i >> 16}.${(i >> 8) & 255}.${i & 255}`,
    );
    const text = `table ip t { set s { type ipv4_addr; elements = { ${elements.join(', ')} }; }
      chain c { type filter hook forward priority 0; ip saddr @s drop; }; }`;
    const policy = nftables.policy(nftables.read([{ name: 'g', text }]))!;
    const [first, last] = [[0x0a000000], [0x0a000000 + 999_999]];
    expect(policy.pipelines[0]!.stages[0]!.rules[0]!.match.source!.ranges).toEqual([
      { low: first, high: last },
    ]);
  }, 60_000);

  it('one endless word or expression is an opaque part like any other', () => {
    expect(outcome('a'.repeat(5_000_000))).toBe('read');
    expect(outcome(`table ip t { chain c { meta mark ${'1 | '.repeat(200_000)} 1; }; }`)).toBe('read');
    expect(outcome(':'.repeat(3_000_000))).toBe('read');
  });
});

/** More runs for a long search: TUCKPOINT_FUZZ_RUNS=1000000. */
const RUNS = Number(process.env.TUCKPOINT_FUZZ_RUNS ?? 400);

describe('any text at all', () => {
  const mutated = fc
    .tuple(
      fc.constantFrom(...SOUND),
      fc.array(
        fc.tuple(
          fc.nat(600),
          fc.nat(12),
          fc.oneof(fc.string(), fc.constantFrom('{', '}', '"', ' . ', '$x', '@s', ':', '\n')),
        ),
        {
          maxLength: 6,
        },
      ),
    )
    .map(([text, cuts]) =>
      cuts.reduce((now, [at, length, put]) => now.slice(0, at) + put + now.slice(at + length), text),
    );

  it('is read, or refused with a place; it never ends in another error', () => {
    fc.assert(
      fc.property(fc.oneof(mutated, fc.string({ unit: 'binary' })), (text) => {
        expect(outcome(text)).toMatch(/^(read|dialects\/[a-z-]+ gateway\.nft:\d+)$/);
      }),
      { numRuns: RUNS },
    );
  });

  it('gives the same answer twice, and only spans inside the file', () => {
    fc.assert(
      fc.property(mutated, (text) => {
        if (outcome(text) !== 'read') return;
        const files = [{ name: 'g', text }];
        const first = nftables.read(files);
        expect(nftables.read(files).objects).toEqual(first.objects);
        for (const { place } of [...first.objects, ...first.opaque]) {
          expect(place.start <= place.end && place.end <= text.length && place.line <= place.endLine).toBe(
            true,
          );
        }
      }),
      { numRuns: Math.ceil(RUNS / 3) },
    );
  });
});
