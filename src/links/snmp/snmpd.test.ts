import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { createSocket } from 'node:dgram';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { TuckpointError } from '#core/errors';
import { readSnmp, snmpAccess } from './index.ts';

const COMMUNITY = 'practice-tide';
const AUTH = 'auth-pass-1234';
const PRIVACY = 'priv-pass-1234';
const USERS = [
  ['SHA-224', 'AES-128'],
  ['SHA-256', 'AES-128'],
  ['SHA-384', 'AES-256'],
  ['SHA-512', 'AES-256'],
] as const;
/** net-snmp calls AES with 128 bits plain AES. */
const netSnmpName = (protocol: string) => (protocol === 'AES-128' ? 'AES' : protocol);

/** The agent is net-snmp's snmpd: every expected value comes from its own snmpget, or from iproute2. */
describe.skipIf(!existsSync('/usr/sbin/snmpd'))('reading net-snmp', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-snmp-'));
  let agent: ChildProcess;
  let port = 0;

  beforeAll(async () => {
    port = await freePort();
    writeFileSync(
      join(folder, 'snmpd.conf'),
      [
        `agentaddress udp:127.0.0.1:${port}`,
        `rocommunity ${COMMUNITY} 127.0.0.1`,
        ...USERS.flatMap(([auth, privacy], at) => [
          `createUser watch${at} ${auth} "${AUTH}" ${netSnmpName(privacy)} "${PRIVACY}"`,
          `rouser watch${at} priv`,
        ]),
      ].join('\n'),
    );
    agent = spawn('/usr/sbin/snmpd', ['-f', '-Lf', '/dev/null', '-C', '-c', join(folder, 'snmpd.conf')], {
      env: { ...process.env, SNMP_PERSISTENT_DIR: join(folder, 'state'), MIBS: '' },
      stdio: 'ignore',
    });
    for (let tries = 0; tries < 100; tries++) {
      try {
        get('1.3.6.1.2.1.1.3.0');
        return;
      } catch {
        await pause(100);
      }
    }
    throw new Error('snmpd does not answer');
  });
  afterAll(async () => {
    const gone = new Promise((resolve) => agent.once('exit', resolve));
    agent.kill('SIGTERM');
    await gone;
    rmSync(folder, { recursive: true, force: true });
  });

  /** Value of one object as snmpget prints it (-Oqvt: value only, ticks as a number). */
  const get = (oid: string) =>
    execFileSync(
      'snmpget',
      ['-m', '', '-v2c', '-c', COMMUNITY, '-Oqvtn', '-t', '1', '-r', '0', `127.0.0.1:${port}`, oid],
      {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
      },
    ).trim();
  const read = (secrets: Record<string, string>) =>
    readSnmp('127.0.0.1', snmpAccess({ snmpPort: String(port), ...secrets })!, 2);
  const v3 = (at: number, more: Record<string, string> = {}) => ({
    snmpUser: `watch${at}`,
    snmpAuthProtocol: USERS[at]![0],
    snmpAuthPassword: AUTH,
    snmpPrivacyProtocol: USERS[at]![1],
    snmpPrivacyPassword: PRIVACY,
    ...more,
  });
  const failure = (work: Promise<unknown>) =>
    work.then(
      () => {
        throw new Error('nothing was thrown');
      },
      (error: TuckpointError) => error,
    );

  it('gives the interfaces and states of iproute2, and octets that are not ahead of it', async () => {
    const { interfaces } = await read({ snmpCommunity: COMMUNITY });
    const shown = links();
    // Interfaces of other programs may come and go meanwhile; the loopback and the first of the machine stay.
    for (const link of shown.filter(({ ifname }) => /^(?:lo|eth0)$/u.test(ifname))) {
      const mine = interfaces.find(({ name }) => name === link.ifname)!;
      expect(mine.counterBits).toBe(64);
      expect(mine.admin).toBe(link.flags.includes('UP') ? 'up' : 'down');
      // RFC 2863 has no "unknown" for a loopback that passes packets; net-snmp says up for it.
      if (link.operstate !== 'UNKNOWN') expect(mine.oper).toBe(link.operstate === 'UP' ? 'up' : 'down');
      expect(mine.inOctets! > 0n && mine.inOctets! <= BigInt(link.stats64.rx.bytes)).toBe(true);
      expect(mine.outOctets! > 0n && mine.outOctets! <= BigInt(link.stats64.tx.bytes)).toBe(true);
    }
  });

  it('gives the values that snmpget gives before and after', async () => {
    const index = links().find(({ ifname }) => ifname === 'lo')!.ifindex;
    const high = (column: number) => BigInt(get(`1.3.6.1.2.1.31.1.1.1.${column}.${index}`));
    const low = (column: number) => BigInt(get(`1.3.6.1.2.1.2.2.1.${column}.${index}`));
    const asked = () => ({
      inOctets: high(6),
      outOctets: high(10),
      inPackets: high(7) + high(8) + high(9),
      outPackets: high(11) + high(12) + high(13),
      inDiscards: low(13),
      inErrors: low(14),
      outDiscards: low(19),
      outErrors: low(20),
    });
    const before = asked();
    const reading = await read({ snmpCommunity: COMMUNITY });
    const after = asked();
    const loopback = reading.interfaces.find(({ name }) => name === 'lo')!;
    for (const name of Object.keys(before) as (keyof typeof before)[]) {
      // net-snmp 5.9.3 counts octets that come in, but no packets: then there is no figure, and that is said.
      if (loopback[name] === null) {
        expect([name, before[name]]).toEqual(['inPackets', 0n]);
        expect(reading.notRead.find(({ what }) => what === 'packets in')?.why).toContain('lo');
        continue;
      }
      expect(before[name] <= loopback[name]! && loopback[name]! <= after[name], name).toBe(true);
    }
    const units = BigInt(get('1.3.6.1.2.1.25.2.3.1.4.1'));
    expect(reading.memory!.totalBytes).toBe(Number(units * BigInt(get('1.3.6.1.2.1.25.2.3.1.5.1'))));
    expect(reading.memory!.freeBytes).toBeLessThanOrEqual(reading.memory!.totalBytes);
    const upSeconds = Number(get('1.3.6.1.2.1.1.3.0')) / 100;
    expect(Math.floor(upSeconds) - reading.uptimeSeconds!).toBeGreaterThanOrEqual(0);
  });

  // RFC 7860 (SHA-2), RFC 3826 (AES with 128 bits); for 256 bits both sides follow draft-blumenthal-aes-usm-04.
  it.each(USERS.map((protocols, at) => [...protocols, at] as const))(
    'reads with %s and %s',
    async (_auth, _privacy, at) => {
      const reading = await read(v3(at));
      expect(reading.interfaces.map(({ name }) => name)).toContain('lo');
    },
  );

  it.each([
    ['user', { snmpUser: 'nobody' }],
    ['authentication password', { snmpAuthPassword: 'wrong-pass-99' }],
    ['privacy password', { snmpPrivacyPassword: 'wrong-pass-99' }],
    ['authentication protocol', { snmpAuthProtocol: 'SHA-512' }],
  ])('with a wrong %s fails in one sentence without the passwords', async (_, wrong) => {
    const error = await failure(read(v3(1, wrong)));
    expect(['links/auth', 'links/timeout']).toContain(error.code);
    expect(error.text).not.toMatch(/pass/u.test(_) ? /pass-99|pass-1234/u : /pass-1234/u);
  });

  it('with a wrong community gets no answer, and says that this may be the reason', async () => {
    const error = await failure(read({ snmpCommunity: 'wrong-tide' }));
    expect(error.code).toBe('links/timeout');
    expect(error.message).toContain('community is not accepted');
    expect(error.text).not.toContain('wrong-tide');
  });
});

interface IpLink {
  ifname: string;
  ifindex: number;
  flags: string[];
  operstate: string;
  stats64: { rx: { bytes: number }; tx: { bytes: number } };
}

const links = (): IpLink[] =>
  JSON.parse(execFileSync('ip', ['-j', '-s', 'link'], { encoding: 'utf8' })) as IpLink[];

function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const socket = createSocket('udp4');
    socket.bind(0, '127.0.0.1', () => {
      const { port } = socket.address();
      socket.close(() => resolve(port));
    });
  });
}
