import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import fc from 'fast-check';
import { afterAll, describe, expect, it } from 'vitest';
import { packTar } from './tar.ts';
import { forward, Piece, weave } from './weave.ts';

const home = mkdtempSync(path.join(tmpdir(), 'weave-'));
afterAll(() => rmSync(home, { recursive: true }));

/** Weaves texts into one order; each letter is a piece. */
function woven(texts: readonly string[]) {
  let order: Piece[] = [];
  let made = 0;
  const lists = texts.map((text) => {
    const letters = [...text];
    const step = weave(order, letters, (i) => {
      made += 1;
      return new Piece(`pieces/${made}`, Buffer.from(letters[i]!), letters[i]);
    });
    order = step.order;
    return step.pieces;
  });
  return { order, lists };
}

/** The longest choice that only goes forward, by trying all. */
function longest(places: readonly (number | null)[]): number {
  const from = (i: number, above: number): number => {
    if (i === places.length) return 0;
    const place = places[i]!;
    const without = from(i + 1, above);
    return place !== null && place > above ? Math.max(without, 1 + from(i + 1, place)) : without;
  };
  return from(0, -1);
}

describe('pieces woven into one order', () => {
  it('are printed by GNU tar as each of the files, whatever moved, doubled or vanished', () => {
    const text = fc.string({ unit: fc.constantFrom('a', 'b', 'c', 'd', 'e', 'f'), maxLength: 14 });
    fc.assert(
      fc.property(fc.array(text, { minLength: 1, maxLength: 6 }), (texts) => {
        const { order, lists } = woven(texts);
        const file = path.join(home, 'pack.tar');
        writeFileSync(file, packTar(order, new Date(0)));
        for (const [i, pieces] of lists.entries()) {
          if (pieces.length === 0) continue;
          const list = path.join(home, 'list');
          writeFileSync(list, pieces.map(({ name }) => `${name}\n`).join(''));
          expect(execFileSync('tar', ['-xOf', file, '-T', list]).toString()).toBe(texts[i]);
        }
      }),
      { numRuns: 40 },
    );
  });

  it('stand once when a file only changes, gains and loses pieces', () => {
    expect(
      woven(['abcdef', 'abXdef', 'bXdYf', 'abcdef'])
        .order.map((p) => p.digest)
        .join(''),
    ).toBe('abXcdYef');
  });

  it('are used as far as any choice that goes forward allows', () => {
    const place = fc.option(fc.integer({ min: 0, max: 9 }));
    fc.assert(
      fc.property(fc.array(place, { maxLength: 11 }), (places) => {
        const chosen = places.filter((_, i) => forward(places)[i]);
        expect(chosen).toEqual([...new Set(chosen)].sort((a, b) => a! - b!));
        expect(chosen).toHaveLength(longest(places));
      }),
    );
  });
});
