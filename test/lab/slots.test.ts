import { expect, it } from 'vitest';
import { FACTORY_RUNNING, FACTORY_SPARE } from '../../lab/index.ts';
import { andBack, ask, bring } from './login.ts';
import { withLab } from './with-lab.ts';

interface Slot {
  readonly release: string;
  readonly configuration: string;
  readonly flags: string;
}

/** `slotctl list`, first and second slot. */
function slotsIn(list: string): [Slot, Slot] {
  const slots = list
    .trim()
    .split('\n')
    .map((line) => /^slot \d release=(\S+) configuration=([0-9a-f]{16})(.*)$/u.exec(line)!)
    .map(([, release, configuration, flags]) => ({
      release: release!,
      configuration: configuration!,
      flags: flags!,
    }));
  return slots as [Slot, Slot];
}

// What an install, a copy and a boot do to slots: common practice, no source.
withLab('The slots of a gateway', { count: 1 }, (stand) => {
  const slots = async () => slotsIn(await ask(stand.gateway, 'slotctl list'));

  it('begin with two pairs, the first of them running', async () => {
    const [first, second] = await slots();
    expect(first).toMatchObject({ release: FACTORY_RUNNING, flags: ' running next' });
    expect(second).toMatchObject({ release: FACTORY_SPARE, flags: '' });
    expect(first.configuration).not.toBe(second.configuration);
  });

  it('are named by a digest of their configuration files', async () => {
    const [, second] = await slots();
    const digest = await ask(stand.gateway, 'cd /slots/2/config && sha256sum * | sha256sum');
    expect(digest.slice(0, 16)).toBe(second.configuration);
  });

  it('change in the release of the running one only when a release is installed', async () => {
    const [before, spare] = await slots();
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0' }));
    await ask(stand.gateway, `slotctl install ${path}`);
    expect(await slots()).toEqual([{ ...before, release: '4.3.0' }, spare]);
    // The running system is still the old one, until it restarts.
    expect(await ask(stand.gateway, 'slotctl identity')).toContain(`release=${FACTORY_RUNNING}\n`);
    await andBack(stand.gateway, 'slotctl restart');
    expect(await ask(stand.gateway, 'slotctl identity')).toContain('release=4.3.0\n');
  });

  it('hold the same pair after keep', async () => {
    await ask(stand.gateway, 'slotctl keep');
    const [running, spare] = await slots();
    expect(spare).toEqual({ ...running, flags: '' });
    await ask(stand.gateway, 'diff -r /slots/1/ /slots/2/');
  });

  it('hold the previous pair in the spare after keep and install, and either boots', async () => {
    const [before] = await slots();
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.4.0', migrates: true }));
    await ask(stand.gateway, `slotctl keep && slotctl install ${path}`);
    await andBack(stand.gateway, 'slotctl restart');
    const [running, spare] = await slots();
    expect(running.release).toBe('4.4.0');
    expect(running.configuration).not.toBe(before.configuration);
    expect(spare).toEqual({ ...before, flags: '' });
    await andBack(stand.gateway, 'slotctl boot 2');
    expect(await ask(stand.gateway, 'slotctl identity')).toContain('release=4.3.0\n');
    await andBack(stand.gateway, 'slotctl boot 1');
    expect(await ask(stand.gateway, 'slotctl identity')).toContain('release=4.4.0\n');
  });

  it('give the running one back from the spare with recover', async () => {
    const [, spare] = await slots();
    await ask(stand.gateway, 'slotctl recover');
    const [running] = await slots();
    expect(running).toEqual({ ...spare, flags: ' running next' });
    await andBack(stand.gateway, 'slotctl restart');
    expect(await ask(stand.gateway, 'slotctl identity')).toContain('release=4.3.0\n');
  });

  it('take a configuration that loads, at once and without a restart', async () => {
    const boots = stand.gateway.bootCount;
    await ask(
      stand.gateway,
      `rm -rf /incoming/new && cp -rL /config /incoming/new && echo sandgate-slip-fw1 >/incoming/new/hostname &&
       sed -i 's/80, 443, 8443/80, 443/' /incoming/new/nftables.conf && slotctl load /incoming/new`,
    );
    expect(await ask(stand.gateway, 'hostname')).toBe('sandgate-slip-fw1\n');
    expect(await ask(stand.gateway, 'nft list set inet filter web_ports')).not.toContain('8443');
    expect(stand.gateway.bootCount).toBe(boots);
    await andBack(stand.gateway, 'slotctl restart');
    expect(await ask(stand.gateway, 'hostname')).toBe('sandgate-slip-fw1\n');
  });
});
