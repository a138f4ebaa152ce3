import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { Estate } from './estate.ts';
import { type Answer, dataOf, type RunAnswer } from './workbench.ts';

/**
 * The process of a real run is killed with SIGKILL at each step of an update, and of its way back: as soon as the step
 * says that the device has acted, or that it begins. A new process goes on with it. (The same at every moment of every
 * step, on a device in memory: test/faults.)
 */
const FORWARD = [
  'look',
  'fit',
  'capture',
  'reading',
  'keep',
  'transfer',
  'install',
  'restart',
  'look-after',
  'capture-after',
  'reading-after',
  'compare',
  'record',
  'clean',
];
const BACK = ['compare', 'back-boot', 'back-look', 'back-capture', 'back-reading', 'back-compare', 'record'];

/** Steps that change the device or end the run; before the others begin, nothing differs from the step before them. */
const CHANGING = ['keep', 'transfer', 'install', 'restart', 'compare', 'back-boot', 'clean'];

const name = 'gull-quay-fw1';
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([name]);
});
afterAll(() => estate.stop());

describe.each(['started', 'acted'] as const)('An update whose process is killed when it has %s', (moment) => {
  const steps = (all: readonly string[]) =>
    moment === 'acted' ? all : all.filter((s) => CHANGING.includes(s));

  test.each(steps(FORWARD))('step "%s" is gone on with, and is kept', async (step) => {
    const { sheet, release } = await estate.release(name);
    const told = since();
    await estate.killAt(['update', name, '--to', sheet], step, moment);
    const resumed = await estate.run('resume');
    expect(onlyRun(resumed)).toMatchObject({ decision: 'kept' });
    expect(resumed.code).toBe(0);
    expect(estate.runs(name).release).toBe(release);
    // By the device's own log nothing that took effect was done again.
    expect(told('copied over slot')).toBeLessThanOrEqual(1);
    expect(told('release installed into')).toBe(1);
    expect(told('up from slot')).toBe(1);
  });

  test.each(steps(BACK))(
    'step "%s" of the way back is gone on with, and the old release runs again',
    async (step) => {
      const before = estate.runs(name);
      const { sheet } = await estate.release(name, { fault: { kind: 'rewrites-configuration-wrongly' } });
      const told = since();
      await estate.killAt(['update', name, '--to', sheet], step, moment);
      const resumed = await estate.run('resume');
      expect(onlyRun(resumed)).toMatchObject({ decision: 'went back' });
      expect(resumed.code).toBe(1);
      expect(estate.runs(name)).toMatchObject({
        release: before.release,
        configuration: before.configuration,
      });
      expect(told('release installed into')).toBe(1);
      // Into the new release, and back.
      expect(told('up from slot')).toBe(2);
    },
  );
});

test('Nothing waits to be resumed after all that', async () => {
  expect(dataOf(await estate.run('resume'))).toEqual([]);
});

/** Counts lines of the device's log since now. */
function since(): (text: string) => number {
  const log = () => estate.control(name).log();
  const before = log().length;
  return (text) =>
    log()
      .slice(before)
      .filter((line) => line.includes(text)).length;
}

function onlyRun(answer: Answer): RunAnswer {
  return dataOf<RunAnswer>(answer);
}
