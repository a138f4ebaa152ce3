import { describe, expect, it } from 'vitest';
import { codeOf } from '#core/errors';
import { MemoryDevice, MemoryLink } from './memory/index.ts';
import { linkContract } from './port/index.ts';
import { withRetry } from './retry.ts';

const configuration = [{ name: 'base.conf', bytes: new TextEncoder().encode('x\n') }];
const release = { path: '/r', name: 'r.img', size: 1, sha256: 'a'.repeat(64) };

function retried(attempts = 3) {
  const device = new MemoryDevice({
    kind: { slots: 2, installWrites: 'running' },
    release: '4.2.0',
    configuration,
    releases: { [release.sha256]: { release: '4.3.0' } },
  });
  const slept: number[] = [];
  const sleep = async (seconds: number) => void slept.push(seconds);
  const link = withRetry(new MemoryLink(device), { attempts, pauseSeconds: 1, sleep });
  return { device, slept, link };
}

describe('a link with retry', () => {
  for (const { statement, check } of linkContract)
    it(`fulfils the contract: ${statement}`, async () => {
      const { device, link } = retried();
      await check({
        link,
        file: release,
        release: '4.3.0',
        forged: { ...release, name: 'f.img', sha256: 'b'.repeat(64) },
        configuration,
        reopen: async () => new MemoryLink(device),
        stop: async () => undefined,
      });
    });

  it('repeats a reading call that failed in passing, and waits longer each time', async () => {
    const { device, link, slept } = retried();
    for (const nth of [1, 2])
      device.faults.add({ call: 'slots', nth, when: 'before', what: 'links/timeout' });
    expect((await link.slots()).running).toBe('1');
    expect(slept).toEqual([1, 2]);
  });

  it('gives up after so many attempts', async () => {
    const { device, link } = retried(2);
    for (const nth of [1, 2]) device.faults.add({ call: 'slots', nth, when: 'before', what: 'links/closed' });
    expect(await link.slots().catch(codeOf)).toBe('links/closed');
    expect(device.faults.calls).toEqual(['slots', 'slots']);
  });

  it('repeats no call that failed for good', async () => {
    const { device, link } = retried();
    device.faults.add({ call: 'identify', when: 'before', what: 'links/host-key-changed' });
    expect(await link.identify().catch(codeOf)).toBe('links/host-key-changed');
    expect(device.faults.calls).toEqual(['identify']);
  });

  it('never repeats a call that acts: it may have taken effect', async () => {
    const { device, link } = retried();
    device.faults.add({ call: 'keep', when: 'after', what: 'links/timeout' });
    expect(await link.keep().catch(codeOf)).toBe('links/timeout');
    expect(device.faults.calls).toEqual(['keep']);
  });
});
