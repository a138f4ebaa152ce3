import { expect, it } from 'vitest';
import type { Gateway } from '../../lab/index.ts';
import { ask, runProgram } from './login.ts';
import { withLab } from './with-lab.ts';

// Columns of RFC 2863 (ifTable, ifXTable) and RFC 2790 (hrStorageTable).
const IF = '1.3.6.1.2.1.2.2.1';
const IFX = '1.3.6.1.2.1.31.1.1.1';
const COLUMN = {
  name: `${IFX}.1`,
  admin: `${IF}.7`,
  oper: `${IF}.8`,
  inOctets: `${IFX}.6`,
  inUnicast: `${IFX}.7`,
  inMulticast: `${IFX}.8`,
  outOctets: `${IFX}.10`,
  inErrors: `${IF}.14`,
  outErrors: `${IF}.20`,
};

/** net-snmp's own client as the peer, over SNMPv3 with authentication and privacy (RFC 7860, RFC 3826). */
async function walk(gateway: Gateway, oid: string): Promise<Map<string, string>> {
  const { v3 } = gateway.reach.snmp;
  const { stdout, stderr, status } = await runProgram('snmpbulkwalk', [
    '-v3',
    '-l',
    'authPriv',
    '-u',
    v3.user,
    '-a',
    v3.authProtocol,
    '-A',
    v3.authPassword,
    '-x',
    v3.privacyProtocol,
    '-X',
    v3.privacyPassword,
    '-m',
    '',
    '-On',
    '-Oq',
    '-Oe',
    gateway.reach.address,
    oid,
  ]);
  if (status !== 0) throw new Error(stderr);
  const rows = stdout
    .trim()
    .split('\n')
    .map((line) => /^\.?(?:\d+\.)*(\d+) "?(.*?)"?$/u.exec(line)!);
  return new Map(rows.map(([, index, value]) => [index!, value!]));
}

async function byName(gateway: Gateway): Promise<Record<string, Record<string, string>>> {
  const columns = await Promise.all(
    Object.entries(COLUMN).map(async ([name, oid]) => [name, await walk(gateway, oid)] as const),
  );
  const names = columns.find(([name]) => name === 'name')![1];
  return Object.fromEntries(
    [...names].map(([index, leg]) => [
      leg,
      Object.fromEntries(columns.map(([name, rows]) => [name, rows.get(index)!])),
    ]),
  );
}

interface Link {
  ifname: string;
  flags: string[];
  operstate: string;
  stats64: Record<'rx' | 'tx', Record<string, number>>;
}
const links = async (gateway: Gateway): Promise<Link[]> =>
  JSON.parse(await ask(gateway, 'ip -j -s link show'));

withLab('SNMP on a gateway', { count: 1 }, (stand) => {
  it('counts what iproute2 counts, once the legs are quiet', async () => {
    const { inside, outside } = stand.gateway.hosts;
    await inside.run('ping', '-n', '-q', '-c', '50', '-s', '1000', '-i', '0.01', outside.address4);
    await inside.run('ping', '-n', '-q', '-c', '50', '-s', '1000', '-i', '0.01', outside.address6);
    // snmpd reads the kernel's counters every 15 seconds only: ask until it has read the last of them.
    const both = async () => {
      const [mib, kernel] = [await byName(stand.gateway), await links(stand.gateway)];
      return kernel
        .filter(({ ifname }) => ['inside', 'outside', 'dmz'].includes(ifname))
        .map(({ ifname, stats64: { rx, tx } }) => {
          const row = mib[ifname]!;
          return {
            leg: ifname,
            mib: [
              row.inOctets,
              row.outOctets,
              Number(row.inUnicast) + Number(row.inMulticast),
              row.inErrors,
              row.outErrors,
            ].map(Number),
            kernel: [rx.bytes, tx.bytes, rx.packets, rx.errors, tx.errors],
          };
        });
    };
    await expect
      .poll(async () => (await both()).filter(({ mib, kernel }) => `${mib}` !== `${kernel}`), {
        timeout: 60_000,
        interval: 2000,
      })
      .toEqual([]);
    const insideLeg = (await both()).find(({ leg }) => leg === 'inside')!;
    // 100 echo requests of 1000 bytes and their headers came in.
    expect(insideLeg.kernel[0]).toBeGreaterThan(100 * 1042);
  });

  it('shows the state that iproute2 shows, also of a leg that is down', async () => {
    await stand.gateway.run('ip', 'link', 'set', 'dmz', 'down');
    const both = async () => {
      const [mib, kernel] = [await byName(stand.gateway), await links(stand.gateway)];
      return kernel
        .filter(({ ifname }) => ifname !== 'lo')
        .map(({ ifname, flags, operstate }) => ({
          leg: ifname,
          // RFC 2863: up(1), down(2).
          mib: [mib[ifname]!.admin, mib[ifname]!.oper],
          kernel: [flags.includes('UP') ? '1' : '2', operstate === 'UP' ? '1' : '2'],
        }));
    };
    await expect
      .poll(async () => (await both()).filter(({ mib, kernel }) => `${mib}` !== `${kernel}`), {
        timeout: 60_000,
        interval: 2000,
      })
      .toEqual([]);
    expect((await both()).find(({ leg }) => leg === 'dmz')!.mib).toEqual(['2', '2']);
    await stand.gateway.run('ip', 'link', 'set', 'dmz', 'up');
  });

  it('tells the size of the memory that the gateway reports', async () => {
    const kinds = await walk(stand.gateway, '1.3.6.1.2.1.25.2.3.1.3');
    const sizes = await walk(stand.gateway, '1.3.6.1.2.1.25.2.3.1.5');
    const [index] = [...kinds].find(([, text]) => text === 'Physical memory')!;
    const total = /^MemTotal:\s+(\d+)/mu.exec(await ask(stand.gateway, 'cat /proc/meminfo'))![1];
    expect(sizes.get(index)).toBe(total);
  });

  it('answers v2c with the community, and nobody without it', async () => {
    const { address, snmp } = stand.gateway.reach;
    const name = (community: string) =>
      runProgram('snmpget', [
        '-v2c',
        '-c',
        community,
        '-r',
        '0',
        '-t',
        '1',
        '-m',
        '',
        '-Oqv',
        address,
        '1.3.6.1.2.1.1.5.0',
      ]);
    expect((await name(snmp.community)).stdout.trim()).toBe('"gull-quay-fw1"');
    expect((await name('public')).status).not.toBe(0);
  });

  it('keeps its engine and counts its boots across a restart, as RFC 3414 section 2.2 wants', async () => {
    // snmpEngineID, snmpEngineBoots (RFC 3411 section 5)
    const engine = async () => {
      const oids = ['1.3.6.1.6.3.10.2.1.1.0', '1.3.6.1.6.3.10.2.1.2.0'];
      const { stdout } = await runProgram('snmpget', v2c(stand.gateway, ...oids));
      return stdout.trim().split('\n');
    };
    const [id, boots] = await engine();
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    expect(await engine()).toEqual([id, String(Number(boots) + 1)]);
  });
});

function v2c({ reach }: Gateway, ...oids: string[]): string[] {
  return ['-v2c', '-c', reach.snmp.community, '-m', '', '-Oqv', '-Oe', reach.address, ...oids];
}
