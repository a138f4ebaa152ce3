import { describe, expect, it } from 'vitest';
import { Together } from './together.ts';

function recorder(most = { items: 4, size: 100 }) {
  const turns: number[][] = [];
  const together = new Together<number, string>(
    (work) => Promise.resolve().then(work),
    async (items) => {
      turns.push([...items]);
      await new Promise((resolve) => setImmediate(resolve));
      if (items.includes(13)) throw new Error('thirteen');
      return items.map((item) => `did ${item}`);
    },
    most,
  );
  return { turns, together };
}

describe('what is asked for at once', () => {
  it('is done together in the next turn, so many at most, each with its own result', async () => {
    const { turns, together } = recorder();
    const results = await Promise.all(
      [1, 2, 3, 4, 5, 6].map((item) => together.do(item, item === 4 ? 98 : 1)),
    );
    expect(results).toEqual([1, 2, 3, 4, 5, 6].map((item) => `did ${item}`));
    expect(turns).toEqual([
      [1, 2, 3],
      [4, 5, 6],
    ]);
    const one = together.do(7, 1000);
    const others = [8, 9, 10, 11, 12].map((item) => together.do(item, 1));
    await together.idle();
    expect(await Promise.all([one, ...others])).toHaveLength(6);
    expect(turns.slice(2)).toEqual([[7], [8, 9, 10, 11], [12]]);
  });

  it('and cannot be done takes nothing else with it', async () => {
    const { together } = recorder({ items: 10, size: 100 });
    const settled = await Promise.allSettled([12, 13, 14].map((item) => together.do(item, 1)));
    expect(settled.map(({ status }) => status)).toEqual(['fulfilled', 'rejected', 'fulfilled']);
    expect(await together.do(15, 1)).toBe('did 15');
  });

  it('is refused, all of it, when there is no turn to be had', async () => {
    const together = new Together<number, string>(
      () => Promise.reject(new Error('locked')),
      async () => [],
      { items: 4, size: 100 },
    );
    await expect(together.do(1, 1)).rejects.toThrow('locked');
    await together.idle();
    await expect(together.do(2, 1)).rejects.toThrow('locked');
  });
});
