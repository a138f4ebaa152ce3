import { expect, it } from 'vitest';
import { FACTORY_RUNNING, FACTORY_SPARE } from '../../lab/index.ts';
import { andBack, ask, bring, identity, tell } from './login.ts';
import { withLab } from './with-lab.ts';

withLab('A gateway of the lab boots', { count: 1 }, (stand) => {
  it('is reached by its key under the host key it was announced with', async () => {
    expect(await identity(stand.gateway)).toMatchObject({
      model: 'Groyne 40',
      serial: stand.gateway.reach.serial,
      hostname: 'gull-quay-fw1',
      release: FACTORY_RUNNING,
      slot: '1',
    });
  });

  it('has a new boot id and counts its uptime anew after a restart', async () => {
    const before = await identity(stand.gateway);
    await new Promise((resolve) => setTimeout(resolve, 1500));
    await andBack(stand.gateway, 'slotctl restart');
    const after = await identity(stand.gateway);
    expect(after.boot).not.toBe(before.boot);
    // The kernel's own file says the same as the gateway's tool.
    expect((await ask(stand.gateway, 'cat /proc/sys/kernel/random/boot_id')).trim()).toBe(after.boot);
    expect(stand.gateway.bootCount).toBe(2);
  });

  it('boots the other slot when told to, and stays there', async () => {
    await andBack(stand.gateway, 'slotctl boot 2');
    expect(await identity(stand.gateway)).toMatchObject({ slot: '2', release: FACTORY_SPARE });
    await andBack(stand.gateway, 'slotctl restart');
    expect(await identity(stand.gateway)).toMatchObject({ slot: '2' });
    await andBack(stand.gateway, 'slotctl boot 1');
  });

  it('stays off after a shutdown until its power is switched', async () => {
    await ask(stand.gateway, 'slotctl shutdown');
    await expect.poll(() => stand.gateway.state, { timeout: 10_000 }).toBe('off');
    expect((await tell(stand.gateway, 'true')).status).toBe(255);
    await stand.gateway.powerOn();
    await stand.gateway.untilWell();
    expect(await identity(stand.gateway)).toMatchObject({ slot: '1' });
  });

  it('comes back from a power loss with what its slots held', async () => {
    const before = await ask(stand.gateway, 'slotctl list');
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    expect(await ask(stand.gateway, 'slotctl list')).toBe(before);
  });

  it('keeps the machine out of reach: programs are read-only, other settings of the kernel too', async () => {
    expect((await tell(stand.gateway, 'touch /usr/bin/new')).stderr).toContain('Read-only file system');
    expect((await tell(stand.gateway, 'echo x > /proc/sys/kernel/hostname')).status).not.toBe(0);
  });

  it('boots its spare at the next power cycle when a release does not come up', async () => {
    const image = await stand.lab.makeImage({ version: '4.3.0', fault: { kind: 'does-not-boot' } });
    const path = await bring(stand.gateway, image);
    await ask(stand.gateway, `slotctl keep && slotctl install ${path}`);
    const boots = stand.gateway.bootCount;
    await ask(stand.gateway, 'slotctl restart');
    await stand.gateway.untilFailed(boots + 1);
    expect((await tell(stand.gateway, 'true')).status).toBe(255);
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    expect(await identity(stand.gateway)).toMatchObject({ slot: '2', release: FACTORY_RUNNING });
    expect(await ask(stand.gateway, 'slotctl list')).toMatch(
      /^slot 1 release=4\.3\.0 \S+\nslot 2 .* running next\n$/u,
    );
  });
});

withLab('A gateway with a boot watchdog', { count: 1, watchdogSeconds: 2 }, (stand) => {
  it('boots its spare by itself when a release does not come up', async () => {
    const image = await stand.lab.makeImage({ version: '4.3.0', fault: { kind: 'does-not-boot' } });
    const path = await bring(stand.gateway, image);
    await ask(stand.gateway, `slotctl keep && slotctl install ${path}`);
    const boots = stand.gateway.bootCount;
    await ask(stand.gateway, 'slotctl restart');
    await stand.gateway.untilWell(boots + 2);
    expect(await identity(stand.gateway)).toMatchObject({ slot: '2', release: FACTORY_RUNNING });
  });
});
