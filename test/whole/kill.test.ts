import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { RunEvent } from '#runs';
import { Estate } from './estate.ts';

/**
 * The process of a real run is killed with SIGKILL at each step of an update and of its way back, at once when the step
 * begins and at once when the device has acted; a new process goes on with it.
 */
const FORWARD = [
  'look',
  'capture',
  'reading',
  'keep',
  'transfer',
  'install',
  'restart',
  'look-after',
  'compare',
  'record',
  'clean',
];
const BACK = ['back-boot', 'back-look', 'back-reading', 'back-compare'];

let estate: Estate;
const name = 'gull-quay-fw1';

beforeAll(async () => {
  estate = await Estate.start([name]);
});
afterAll(async () => {
  await estate.stop();
});

describe.each(['started', 'acted'] as const)('killed the instant it has %s', (moment) => {
  test.each(FORWARD)('step %s: the run goes on and the release is kept', async (step) => {
    const control = estate.practice.device(name);
    const [release, sheet] = await nextRelease();
    const before = control.bootCount;
    const killed = await killAt(['update', name, '--to', sheet], step, moment);
    expect(killed.signal).toBe('SIGKILL');
    const resumed = await estate.run('resume');
    expect(resumed.stderr).not.toContain('fault in Tuckpoint');
    expect(resumed.data).toMatchObject({ decision: 'kept' });
    expect(control.slots().find((s) => s.running)?.release).toBe(release);
    // One boot: the restart that took effect was not repeated.
    expect(control.bootCount - before).toBe(1);
    expect((await estate.run('resume')).data).toEqual([]);
  });

  test.each(BACK)('step %s of the way back: the old release runs again', async (step) => {
    const control = estate.practice.device(name);
    const present = control.slots().find((s) => s.running)?.release;
    const [, sheet] = await nextRelease({ kind: 'interface-down' });
    const killed = await killAt(['update', name, '--to', sheet], step, moment);
    expect(killed.signal).toBe('SIGKILL');
    const resumed = await estate.run('resume');
    expect(resumed.data).toMatchObject({ decision: 'went back' });
    expect(control.slots().find((s) => s.running)?.release).toBe(present);
  });
});

async function killAt(args: readonly string[], step: string, moment: 'started' | 'acted') {
  return await estate.watch(args, (line, child) => {
    if (!line.startsWith('{')) return;
    const event = JSON.parse(line) as RunEvent;
    if (event.kind === 'step' && event.step === step && event.state === moment) child.kill('SIGKILL');
  });
}

let made = 0;
async function nextRelease(fault?: { kind: 'interface-down' }): Promise<[string, string]> {
  const release = `9.${++made}.0`;
  const sheet = await estate.image({
    release,
    models: ['Groyne 40'],
    ...(fault === undefined ? {} : { fault }),
  });
  return [release, sheet];
}
