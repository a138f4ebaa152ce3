import { expect, it } from 'vitest';
import { andBack, ask } from './login.ts';
import { withLab } from './with-lab.ts';

withLab('The automatic return of a configuration', { count: 1 }, (stand) => {
  const LOAD = `rm -rf /incoming/new && cp -rL /config /incoming/new && echo other-name >/incoming/new/hostname &&
    slotctl load /incoming/new`;
  const hostname = async () => (await ask(stand.gateway, 'hostname')).trim();

  it('happens at its deadline unless it is cancelled', async () => {
    await ask(stand.gateway, `slotctl return-in 3 && ${LOAD}`);
    expect(await hostname()).toBe('other-name');
    await expect.poll(hostname, { timeout: 10_000 }).toBe('gull-quay-fw1');
    expect(await ask(stand.gateway, 'slotctl return-state')).toBe('not armed\n');
  });

  it('does not happen when it was cancelled in time', async () => {
    await ask(stand.gateway, `slotctl return-in 3 && ${LOAD} && slotctl return-cancel`);
    await new Promise((resolve) => setTimeout(resolve, 4500));
    expect(await hostname()).toBe('other-name');
    expect(await ask(stand.gateway, 'slotctl return-cancel')).toBe('no return was armed\n');
  });

  it('brings back a management address that a configuration took away', async () => {
    const before = await ask(stand.gateway, 'slotctl list');
    await ask(
      stand.gateway,
      `slotctl return-in 4 && rm -rf /incoming/new && cp -rL /config /incoming/new &&
       sed -i 's/^auto mgmt$/# &/' /incoming/new/interfaces && (setsid slotctl load /incoming/new >/dev/null 2>&1 </dev/null &)`,
    );
    const link = async () => (await stand.gateway.run('ip', '-br', 'link', 'show', 'dev', 'mgmt')).stdout;
    await expect.poll(link, { timeout: 5000 }).toContain('DOWN');
    await expect.poll(link, { timeout: 15_000 }).toContain('UP');
    await expect
      .poll(() => ask(stand.gateway, 'slotctl list').catch(() => ''), { timeout: 15_000 })
      .toBe(before);
  });

  it('survives a restart and a power loss', async () => {
    const before = await hostname();
    await ask(
      stand.gateway,
      `slotctl return-in 6 && cp -rL /config /incoming/third && echo third-name >/incoming/third/hostname &&
       slotctl load /incoming/third`,
    );
    await andBack(stand.gateway, 'slotctl restart');
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    await expect.poll(hostname, { timeout: 15_000 }).toBe(before);
  });

  it('is made up for at boot when its deadline passed while the gateway was off', async () => {
    const before = await hostname();
    await ask(
      stand.gateway,
      `slotctl return-in 2 && echo fourth-name >/incoming/third/hostname && slotctl load /incoming/third`,
    );
    await stand.gateway.powerOff();
    await new Promise((resolve) => setTimeout(resolve, 2500));
    await stand.gateway.powerOn();
    await stand.gateway.untilWell();
    expect(await hostname()).toBe(before);
  });
});
