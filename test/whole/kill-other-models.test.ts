import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { Estate } from './estate.ts';
import { dataOf, type RunAnswer } from './workbench.ts';

/** A short selection of kills on the models that install into the spare slot, and that have one slot. */
const [pair, virtual] = ['north-mole-fw2', 'lantern-head-cctv'];
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([pair, virtual]);
});
afterAll(() => estate.stop());

describe('A Groyne 200, which installs into its spare slot and fetches releases itself', () => {
  test.each([
    ['transfer', 'started'],
    ['install', 'acted'],
    ['restart', 'acted'],
  ] as const)(
    'killed when "%s" has %s, goes on; the old pair stays in the other slot',
    async (step, moment) => {
      const before = estate.runs(pair);
      const { sheet, release } = await estate.release(pair);
      await estate.killAt(['update', pair, '--to', sheet], step, moment);
      expect(dataOf<RunAnswer>(await estate.run('resume'))).toMatchObject({ decision: 'kept' });
      expect(estate.runs(pair).release).toBe(release);
      const spare = estate
        .control(pair)
        .slots()
        .find((slot) => !slot.running)!;
      expect(spare).toMatchObject({ release: before.release, configuration: before.configuration });
    },
  );

  test('killed on the way back, goes back', async () => {
    const { id, next: _, ...before } = slotOf(pair);
    const { sheet } = await estate.release(pair, { fault: { kind: 'rewrites-configuration-wrongly' } });
    await estate.killAt(['update', pair, '--to', sheet], 'back-boot', 'acted');
    expect(dataOf<RunAnswer>(await estate.run('resume'))).toMatchObject({ decision: 'went back' });
    expect(slotOf(pair)).toMatchObject({ ...before, id });
  });
});

describe('A Groyne V, which has one slot', () => {
  test('is not updated without the old release at hand and the explicit word', async () => {
    const before = slotOf(virtual);
    const { sheet } = await estate.release(virtual);
    const old = await estate.release(virtual, { release: before.release });
    for (const more of [[], ['--accept-no-reserve'], ['--old', old.sheet]]) {
      const answer = await estate.say('update', virtual, '--to', sheet, ...more);
      expect(answer.code).toBe(3);
      expect(answer.stderr.trimEnd().split('\n'), answer.stderr).toHaveLength(1);
      expect(slotOf(virtual)).toEqual(before);
    }
    // Common practice, no source: a virtual device has one slot, so there is nothing to copy and no spare to boot.
    for (const command of [
      ['slots', 'keep', virtual],
      ['slots', 'recover', virtual],
      ['boot', virtual, '--slot', 'spare'],
    ]) {
      const answer = await estate.say(...command);
      expect(answer.code, command.join(' ')).toBe(3);
      expect(answer.stderr.trimEnd().split('\n'), answer.stderr).toHaveLength(1);
    }
    expect(dataOf(await estate.run('resume'))).toEqual([]);
  });

  test.each([
    ['install', 'acted'],
    ['restart', 'started'],
  ] as const)('killed when "%s" has %s, goes on', async (step, moment) => {
    const { sheet, release, words } = await update();
    await estate.killAt(['update', virtual, '--to', sheet, ...words], step, moment);
    expect(dataOf<RunAnswer>(await estate.run('resume'))).toMatchObject({ decision: 'kept' });
    expect(slotOf(virtual).release).toBe(release);
  });

  test('killed on the way back, has the old release and the captured configuration again', async () => {
    const before = slotOf(virtual);
    const { sheet, words } = await update({ kind: 'rewrites-configuration-wrongly' });
    await estate.killAt(['update', virtual, '--to', sheet, ...words], 'back-install', 'acted');
    expect(dataOf<RunAnswer>(await estate.run('resume'))).toMatchObject({ decision: 'went back' });
    expect(slotOf(virtual)).toMatchObject({ release: before.release, configuration: before.configuration });
  });

  async function update(fault?: { kind: 'rewrites-configuration-wrongly' }) {
    const old = await estate.release(virtual, { release: slotOf(virtual).release });
    const made = await estate.release(virtual, fault === undefined ? {} : { fault });
    return { ...made, words: ['--old', old.sheet, '--accept-no-reserve'] };
  }
});

function slotOf(name: string) {
  return estate
    .control(name)
    .slots()
    .find((slot) => slot.running)!;
}
