import { describe, expect, it } from 'vitest';
import { codeOf } from '#core/errors';
import { linkContract } from '../port/contract.ts';
import { MemoryDevice, MemoryLink } from './index.ts';

const file = (text: string) => new TextEncoder().encode(text);
const configuration = [{ name: 'base.conf', bytes: file('name gull-quay-fw1\n') }];
const release = { path: '/release/4.3.0', name: 'groyne40-4.3.0.img', size: 9, sha256: 'a'.repeat(64) };
const forged = { ...release, name: 'forged.img', sha256: 'b'.repeat(64) };
const releases = { [release.sha256]: { release: '4.3.0', model: 'Groyne 40' } };

function gateway(writes: 'running' | 'spare' = 'running', slots: 1 | 2 = 2, more = {}): MemoryDevice {
  return new MemoryDevice({
    kind: { slots, installWrites: writes },
    release: '4.2.0',
    configuration,
    releases,
    ...more,
  });
}

async function codeThrown(work: Promise<unknown>): Promise<string | undefined> {
  return work.then(
    () => undefined,
    (error: unknown) => codeOf(error),
  );
}

describe.each([
  ['two slots, installs in place', () => gateway('running')],
  ['two slots, installs into the spare', () => gateway('spare')],
  ['one slot', () => gateway('running', 1)],
])('a device in memory with %s', (_, make) => {
  const device = make();
  for (const { statement, twoSlots, check } of linkContract) {
    if (twoSlots && device.kind.slots === 1) continue;
    it(statement, async () => {
      const fresh = make();
      await check({
        link: new MemoryLink(fresh),
        file: release,
        release: '4.3.0',
        forged,
        configuration: [{ name: 'base.conf', bytes: file('name other\n') }],
        reopen: async () => new MemoryLink(fresh),
        stop: async () => undefined,
      });
    });
  }
});

describe('a device in memory', () => {
  it('that loses power before an install took effect boots with the old release; after it, with the new', async () => {
    for (const [when, expected] of [
      ['before', '4.2.0'],
      ['after', '4.3.0'],
    ] as const) {
      const device = gateway();
      const link = new MemoryLink(device);
      const remote = await link.transfer(release);
      device.faults.add({ call: 'install', when, what: 'power-loss' });
      expect(await codeThrown(link.install(remote))).toBe('links/closed');
      expect((await new MemoryLink(device).identify()).release).toBe(expected);
    }
  });

  it('fails at the call that was chosen, once', async () => {
    const device = gateway();
    const link = new MemoryLink(device);
    await link.identify();
    device.faults.add({ call: 'identify', nth: 2, when: 'before', what: 'links/timeout' });
    await link.identify();
    expect(await codeThrown(link.identify())).toBe('links/timeout');
    await link.identify();
    expect(device.faults.calls).toHaveLength(4);
  });

  it('that does not boot answers nobody until a power cycle, and then boots its spare', async () => {
    const device = gateway('running', 2, {
      releases: { [release.sha256]: { release: '4.3.0', doesNotBoot: true } },
    });
    const link = new MemoryLink(device);
    await link.install(await link.transfer(release));
    await link.restart();
    expect(await codeThrown(link.identify())).toBe('links/unreachable');
    device.powerCycle();
    expect((await link.identify()).release).toBe('4.2.0');
    expect((await link.slots()).running).toBe('2');
  });

  it('with a watchdog boots its spare by itself', async () => {
    const device = gateway('running', 2, {
      watchdog: true,
      releases: { [release.sha256]: { release: '4.3.0', doesNotBoot: true } },
    });
    const link = new MemoryLink(device);
    await link.install(await link.transfer(release));
    await link.restart();
    expect((await link.identify()).release).toBe('4.2.0');
  });

  it('returns to the configuration it had when it was armed', async () => {
    const device = gateway();
    const link = new MemoryLink(device);
    await link.armReturn(60);
    await link.apply([{ name: 'base.conf', bytes: file('locked out\n') }]);
    device.returnNow();
    expect(await link.capture('running')).toEqual(configuration);
  });
});
