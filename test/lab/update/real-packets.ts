import { spawn } from 'node:child_process';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'vitest';
import type { Gateway, Host } from '../../../lab/index.ts';
import { withinBinomial } from '../binomial.ts';

/** A connection through the gateway: from outside to the published port 443, which leads to port 8443 in the dmz. */
export async function serviceAnswers(gateway: Gateway): Promise<boolean> {
  const { outside, dmz } = gateway.hosts;
  const server = spawn('ip', [
    ...['netns', 'exec', dmz.netns],
    ...['ncat', '-l', '-k', '8443', '--sh-exec', 'echo you are $NCAT_REMOTE_ADDR'],
  ]);
  try {
    await untilListening(dmz, 8443);
    const published = gateway.plan.legs.outside.gateway4;
    const { stdout } = await outside.run('ncat', '--recv-only', '-w', '3', published, '443');
    return stdout.trim() === `you are ${outside.address4}`;
  } finally {
    server.kill('SIGKILL');
  }
}

/** Does a connection from a blocked network (an address of the set `blocked`) get into the dmz over the published port? */
export async function blockedGetsIn(gateway: Gateway): Promise<boolean> {
  const { outside, dmz } = gateway.hosts;
  const stranger = '198.51.100.7';
  await outside.run('ip', 'address', 'add', `${stranger}/32`, 'dev', 'leg');
  try {
    const { outside: leg } = gateway.plan.legs;
    const { stdout } = await outside.run(
      'ping',
      '-n',
      '-q',
      '-c',
      '3',
      '-i',
      '0.2',
      '-W',
      '1',
      '-I',
      stranger,
      leg.gateway4,
    );
    // The gateway itself answers: the way there and back stands, so a silence of the dmz is the rules' doing.
    expect(stdout).toContain('3 received');
    const server = spawn('ip', [
      'netns',
      'exec',
      dmz.netns,
      'ncat',
      '-l',
      '-k',
      '8080',
      '--sh-exec',
      'echo in',
    ]);
    try {
      await untilListening(dmz, 8080);
      const call = await outside.run('ncat', '--recv-only', '-w', '3', '-s', stranger, leg.gateway4, '443');
      return call.stdout.trim() === 'in';
    } finally {
      server.kill('SIGKILL');
    }
  } finally {
    await outside.run('ip', 'address', 'del', `${stranger}/32`, 'dev', 'leg');
  }
}

/** iputils' ping from the inside host to the outside one, through the gateway. */
export async function lossInside(gateway: Gateway, to: 'outside' | 'dmz', count = 1000) {
  const { hosts } = gateway;
  const args = ['-n', '-q', '-c', String(count), '-i', '0.002', '-W', '1', hosts[to].address4];
  const { stdout } = await hosts.inside.run('ping', ...args);
  const [, sent, back] = /^(\d+) packets transmitted, (\d+) received/mu.exec(stdout)!;
  return { sent: Number(sent), lost: Number(sent) - Number(back) };
}

/** All passes as it did when the gateway was made: the service answers, and nothing is lost towards either leg. */
export async function expectAllPasses(gateway: Gateway): Promise<void> {
  expect(await serviceAnswers(gateway)).toBe(true);
  expect(await lossInside(gateway, 'outside', 100)).toEqual({ sent: 100, lost: 0 });
  expect(await lossInside(gateway, 'dmz', 100)).toEqual({ sent: 100, lost: 0 });
}

/** A share of probes from the inside is lost: neither less nor more than independent drops of this share give. */
export async function expectLoss(gateway: Gateway, percent: number): Promise<void> {
  const { sent, lost } = await lossInside(gateway, 'outside', 2000);
  const share = percent / 100;
  expect(withinBinomial(lost, sent, share), `${lost} of ${sent} lost`).toBe(true);
  // The bound is tight enough to tell it from half and from double the share.
  expect(withinBinomial(lost, sent, share / 2)).toBe(false);
  expect(withinBinomial(lost, sent, share * 2)).toBe(false);
}

/** Waits until a server of the host's listens. Tests run side by side here, so `expect.poll` cannot serve. */
async function untilListening(host: Host, port: number): Promise<void> {
  for (let tries = 0; tries < 200; tries++) {
    if ((await host.run('ss', '-Hltn', `sport = :${port}`)).stdout.trim() !== '') return;
    await sleep(50);
  }
  throw new Error(`Nothing listens on port ${port} of ${host.netns}.`);
}
