import fc from 'fast-check';
import { expect, test } from 'vitest';
import { inOrder } from './in-order.ts';

const pause = (turns: number) =>
  turns === 0 ? Promise.resolve() : new Promise<void>((r) => setTimeout(r, turns));

test('results come in the order of the items, with no more at work than asked for', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.array(fc.nat(4), { maxLength: 12 }),
      fc.integer({ min: 1, max: 4 }),
      async (turns, most) => {
        let atWork = 0;
        let busiest = 0;
        const got: number[] = [];
        const items = turns.map((wait, i) => ({ wait, i }));
        for await (const i of inOrder(items, most, async (item) => {
          busiest = Math.max(busiest, ++atWork);
          await pause(item.wait);
          atWork--;
          return item.i;
        }))
          got.push(i);
        expect(got).toEqual(turns.map((_, i) => i));
        expect(busiest).toBeLessThanOrEqual(most);
      },
    ),
    { numRuns: 40 },
  );
});

test('an error comes at its place, and ends the work', async () => {
  const begun: number[] = [];
  const got: number[] = [];
  const run = async () => {
    for await (const i of inOrder([0, 1, 2, 3, 4], 2, async (item) => {
      begun.push(item);
      if (item === 1) throw new Error('the second fails');
      await pause(2);
      return item;
    }))
      got.push(i);
  };
  await expect(run()).rejects.toThrow('the second fails');
  expect(got).toEqual([0]);
  expect(begun).toEqual([0, 1, 2]);
});
