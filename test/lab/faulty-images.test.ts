import { expect, it } from 'vitest';
import type { ImageFault } from '../../lab/index.ts';
import { withinBinomial } from './binomial.ts';
import { andBack, ask, bring } from './login.ts';
import { withLab } from './with-lab.ts';

withLab('A faulty image acts for real:', { count: 1 }, (stand) => {
  async function boot(fault: ImageFault): Promise<void> {
    const image = await stand.lab.makeImage({ version: '4.3.0', fault });
    await ask(stand.gateway, `slotctl install ${await bring(stand.gateway, image)}`);
    await andBack(stand.gateway, 'slotctl restart');
  }
  /** Probes of iputils' ping from a host through the gateway; how many went out and how many came back. */
  async function ping(
    from: 'inside' | 'dmz',
    to: string,
    count: number,
  ): Promise<{ sent: number; back: number }> {
    const { stdout } = await stand.gateway.hosts[from].run(
      'ping',
      '-n',
      '-q',
      '-c',
      String(count),
      '-i',
      '0.001',
      '-W',
      '1',
      to,
    );
    const [, sent, back] = /^(\d+) packets transmitted, (\d+) received/mu.exec(stdout)!;
    return { sent: Number(sent), back: Number(back) };
  }

  it('none is lost by a sound one', async () => {
    expect(await ping('inside', stand.gateway.hosts.outside.address4, 200)).toEqual({ sent: 200, back: 200 });
  });

  it('packet-loss drops its share of what comes in from the inside leg, of both families', async () => {
    await boot({ kind: 'packet-loss', percent: 12 });
    const { outside } = stand.gateway.hosts;
    for (const to of [outside.address4, outside.address6]) {
      const { sent, back } = await ping('inside', to, 2000);
      expect(sent).toBe(2000);
      expect(withinBinomial(sent - back, sent, 0.12), `${sent - back} of ${sent} lost`).toBe(true);
      // The bound is tight enough to tell it from its neighbours.
      expect(withinBinomial(sent - back, sent, 0.01)).toBe(false);
      expect(withinBinomial(sent - back, sent, 0.25)).toBe(false);
    }
    // Also after a configuration is loaded, which begins with "flush ruleset".
    await ask(stand.gateway, 'cp -rL /config /incoming/same && slotctl load /incoming/same');
    const { sent, back } = await ping('inside', outside.address4, 2000);
    expect(withinBinomial(sent - back, sent, 0.12), `${sent - back} of ${sent} lost`).toBe(true);
  });

  it('interface-down boots with that leg down, and nothing passes', async () => {
    await boot({ kind: 'interface-down', leg: 'dmz' });
    const [link] = JSON.parse(await ask(stand.gateway, 'ip -j link show dev dmz'));
    expect(link.flags).not.toContain('UP');
    expect(await ping('inside', stand.gateway.hosts.dmz.address4, 5)).toEqual({ sent: 5, back: 0 });
    expect(await ping('inside', stand.gateway.hosts.outside.address4, 5)).toEqual({ sent: 5, back: 5 });
  });

  it('less-memory holds memory for good', async () => {
    const free = async () =>
      Number(/^MemAvailable:\s+(\d+)/mu.exec(await ask(stand.gateway, 'cat /proc/meminfo'))![1]);
    await boot({ kind: 'wrong-model' }).catch(() => undefined);
    const before = await free();
    await boot({ kind: 'less-memory' });
    await expect.poll(free, { timeout: 15_000 }).toBeLessThan(before - 190 * 1024);
    // The process that holds it is there for this machine's kernel to see (its proportional share, in KiB).
    const held = await ask(stand.gateway, "awk '/^Pss:/ { print $2 }' /proc/$(pgrep -x tail)/smaps_rollup");
    expect(Number(held)).toBeGreaterThan(190 * 1024);
  });

  it('rewrites-configuration changes the rules at its first boot only, and for good', async () => {
    const before = await ask(stand.gateway, 'cat /config/nftables.conf');
    await boot({ kind: 'rewrites-configuration' });
    const after = await ask(stand.gateway, 'cat /config/nftables.conf');
    expect(before).toContain('@blocked');
    expect(after).not.toContain('@blocked');
    expect(after).toContain('dnat to 10.1.20.2:8080');
    expect(await ask(stand.gateway, 'nft list chain ip nat prerouting')).toContain('10.1.20.2:8080');
    await andBack(stand.gateway, 'slotctl restart');
    expect(await ask(stand.gateway, 'cat /config/nftables.conf')).toBe(after);
  });
});
