import { type ChildProcess, spawn } from 'node:child_process';
import { afterEach, expect, it } from 'vitest';
import type { Host } from '../../lab/index.ts';
import { withLab } from './with-lab.ts';

withLab('Real connections through a gateway', { count: 1 }, (stand) => {
  const servers: ChildProcess[] = [];
  afterEach(() => {
    for (const server of servers.splice(0)) server.kill('SIGKILL');
  });

  /** A server of ncat's at a host, which tells every caller under which address it came. */
  async function serve(host: Host, port: number): Promise<void> {
    const server = spawn('ip', [
      'netns',
      'exec',
      host.netns,
      'ncat',
      '-l',
      '-k',
      String(port),
      '--sh-exec',
      'echo you are $NCAT_REMOTE_ADDR',
    ]);
    servers.push(server);
    // One socket for each family.
    const listening = async () =>
      (await host.run('ss', '-Hltn', `sport = :${port}`)).stdout.trim().split('\n').length;
    await expect.poll(listening).toBe(2);
  }

  /** What a caller hears within two seconds; nothing when no connection comes about. */
  async function call(host: Host, address: string, port: number): Promise<string> {
    const { stdout } = await host.run('ncat', '--recv-only', '-w', '2', address, String(port));
    return stdout.trim();
  }

  it('reach the service in the dmz under the address and port that are published outside', async () => {
    const { outside, dmz } = stand.gateway.hosts;
    await serve(dmz, 8443);
    expect(await call(outside, stand.gateway.plan.legs.outside.gateway4, 443)).toBe(
      `you are ${outside.address4}`,
    );
    expect(await call(outside, dmz.address6, 8443)).toBe(`you are ${outside.address6}`);
    // The port behind the translation is not reachable by itself.
    expect(await call(outside, dmz.address4, 8443)).toBe('');
  });

  it('leave the inside under the address of the gateway, and over IPv6 under their own', async () => {
    const { outside, inside } = stand.gateway.hosts;
    await serve(outside, 5000);
    expect(await call(inside, outside.address4, 5000)).toBe(
      `you are ${stand.gateway.plan.legs.outside.gateway4}`,
    );
    expect(await call(inside, outside.address6, 5000)).toBe(`you are ${inside.address6}`);
  });

  it('reach the dmz from the inside on the ports of the set, and on no other', async () => {
    const { inside, dmz } = stand.gateway.hosts;
    await serve(dmz, 443);
    await serve(dmz, 444);
    expect(await call(inside, dmz.address4, 443)).toBe(`you are ${inside.address4}`);
    expect(await call(inside, dmz.address4, 444)).toBe('');
  });

  it('do not get in from outside, nor from the dmz to the inside', async () => {
    const { outside, inside, dmz } = stand.gateway.hosts;
    await serve(inside, 443);
    expect(await call(outside, inside.address4, 443)).toBe('');
    expect(await call(outside, inside.address6, 443)).toBe('');
    expect(await call(dmz, inside.address4, 443)).toBe('');
  });

  it('work again after a power loss', async () => {
    const { outside, dmz } = stand.gateway.hosts;
    await serve(dmz, 8443);
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    expect(await call(outside, stand.gateway.plan.legs.outside.gateway4, 443)).toBe(
      `you are ${outside.address4}`,
    );
  });

  it('let the gateway fetch files from the workbench', async () => {
    const { createServer } = await import('node:http');
    const server = createServer((_, response) => response.end('a release'));
    await new Promise<void>((resolve) => server.listen(0, stand.gateway.reach.workbench, resolve));
    const { port } = server.address() as { port: number };
    const { stdout } = await stand.gateway.run(
      'curl',
      '-sS',
      `http://${stand.gateway.reach.workbench}:${port}/`,
    );
    expect(stdout).toBe('a release');
    await new Promise((resolve) => server.close(resolve));
  });
});
