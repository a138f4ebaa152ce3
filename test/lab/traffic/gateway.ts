import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/**
 * A forwarder between peers, in namespaces of its own. Packets carry their way in the DSCP field (RFC 2474), so that
 * any address can be forwarded to any leg or handed to the gateway itself: 1 to 3 lead out of that leg, 4 to the
 * gateway; 8 on top keeps the packet out of connection tracking.
 */
export const LEGS = ['lan0', 'wan0', 'dmz0'] as const;
export const LOCAL = 4;
export const UNTRACKED = 8;

const GATEWAY_MAC = (leg: number): string => `02000000000${leg + 1}`;

/** The system's own Python where there is one; others may be wrapped. */
const python = existsSync('/usr/bin/python3') ? '/usr/bin/python3' : 'python3';

const script = fileURLToPath(new URL('./packets.py', import.meta.url));

/** What a way in the DSCP field does; loaded beside the ruleset under test. */
export const STEERING = `
table inet steering {
  chain prerouting {
    type filter hook prerouting priority -500;
    meta mark set ip dscp map { 1 : 1, 2 : 2, 3 : 3, 4 : 4, 9 : 1, 10 : 2, 11 : 3, 12 : 4 }
    meta mark set ip6 dscp map { 1 : 1, 2 : 2, 3 : 3, 4 : 4, 9 : 1, 10 : 2, 11 : 3, 12 : 4 }
  }
  chain exempt {
    type filter hook prerouting priority -250;
    ip dscp { 9-12 } notrack
    ip6 dscp { 9-12 } notrack
  }
  chain output {
    type filter hook output priority -250;
    ip dscp { 9-12 } notrack
    ip6 dscp { 9-12 } notrack
  }
}
`;

/** Lets everything pass, with connection tracking: the ruleset under which connections are opened beforehand. */
export const OPEN = `
table inet open {
  chain prerouting { type filter hook prerouting priority 0; ct state new accept; }
  chain output { type filter hook output priority 0; ct state new accept; }
  # The gateway's own answers would close the connections again.
  chain answers {
    type filter hook output priority -450;
    tcp flags & rst == rst drop
    icmp type destination-unreachable drop
    icmpv6 type destination-unreachable drop
  }
}
`;

/** One packet as it arrived somewhere. */
export interface Arrival {
  /** Number of the leg, or `in`. */
  readonly at: string;
  readonly family: 4 | 6;
  /** For IPv6 handed to the gateway itself: the protocol, since the header is not there. */
  readonly protocol: number | null;
  readonly bytes: Buffer;
}

/** A forwarder that packets are sent through: one made for this, or a real gateway. */
export interface Forwarder {
  /** Replaces the whole ruleset. */
  load(ruleset: string): void;
  forgetConnections(): void;
  /** Sends the lines of packets.py and returns what arrived anywhere. */
  exchange(lines: readonly string[]): Arrival[];
  /** The hardware address that frames to it carry on a leg, hex. */
  hardwareAddress(leg: number): string;
}

export class Gateway implements Forwarder {
  private readonly prefix: string;
  private readonly namespaces: string[] = [];

  constructor(name: string) {
    this.prefix = `tuckpoint-traffic-${name}`;
    try {
      this.build();
    } catch (error) {
      this.close();
      throw error;
    }
  }

  private build(): void {
    const gateway = this.make('gw');
    this.inside(gateway, ['ip', 'link', 'set', 'lo', 'up']);
    for (const [key, value] of [
      ['net.ipv4.ip_forward', '1'],
      ['net.ipv4.conf.all.rp_filter', '0'],
      ['net.ipv4.conf.default.rp_filter', '0'],
      ['net.ipv4.icmp_ratemask', '0'],
      ['net.ipv4.icmp_echo_ignore_all', '1'],
      ['net.ipv6.conf.all.forwarding', '1'],
      ['net.ipv6.conf.all.accept_dad', '0'],
      ['net.ipv6.conf.default.accept_dad', '0'],
      ['net.ipv6.icmp.ratelimit', '0'],
    ]) {
      this.inside(gateway, ['sysctl', '-q', '-w', `${key}=${value}`]);
    }
    for (const [leg, name] of LEGS.entries()) {
      const peer = this.make(name);
      this.inside(gateway, [
        'ip',
        'link',
        'add',
        name,
        'type',
        'veth',
        'peer',
        'name',
        'wire',
        'netns',
        peer,
      ]);
      const mac = GATEWAY_MAC(leg).replace(/(..)(?=.)/g, '$1:');
      this.inside(gateway, ['ip', 'link', 'set', name, 'address', mac, 'arp', 'off', 'up']);
      this.inside(peer, ['sysctl', '-q', '-w', 'net.ipv6.conf.all.disable_ipv6=1']);
      this.inside(peer, ['ip', 'link', 'set', 'wire', 'arp', 'off', 'up']);
      this.inside(gateway, ['ip', 'addr', 'add', `10.255.${leg}.1/24`, 'dev', name]);
      this.inside(gateway, ['ip', '-6', 'addr', 'add', `fd00:ffff:${leg}::1/64`, 'dev', name, 'nodad']);
      const table = String(101 + leg);
      const mark = String(leg + 1);
      for (const [family, via] of [
        ['-4', `10.255.${leg}.2`],
        ['-6', `fd00:ffff:${leg}::2`],
      ] as const) {
        this.inside(gateway, [
          'ip',
          family,
          'route',
          'add',
          'default',
          'via',
          via,
          'dev',
          name,
          'onlink',
          'table',
          table,
        ]);
        this.inside(gateway, [
          'ip',
          family,
          'rule',
          'add',
          'fwmark',
          mark,
          'lookup',
          table,
          'pref',
          String(10 + leg),
        ]);
      }
    }
    for (const family of ['-4', '-6']) {
      this.inside(gateway, ['ip', family, 'route', 'add', 'local', 'default', 'dev', 'lo', 'table', '104']);
      this.inside(gateway, [
        'ip',
        family,
        'rule',
        'add',
        'fwmark',
        String(LOCAL),
        'lookup',
        '104',
        'pref',
        '20',
      ]);
      // Answers of the gateway itself (errors, resets) leave by the first leg.
      const via = family === '-4' ? '10.255.0.2' : 'fd00:ffff:0::2';
      this.inside(gateway, ['ip', family, 'route', 'add', 'default', 'via', via, 'dev', LEGS[0], 'onlink']);
    }
  }

  private make(name: string): string {
    const full = `${this.prefix}-${name}`;
    execFileSync('ip', ['netns', 'add', full]);
    this.namespaces.push(full);
    return full;
  }

  private inside(namespace: string, command: string[], input?: string): string {
    const done = spawnSync('ip', ['netns', 'exec', namespace, ...command], {
      encoding: 'utf8',
      ...(input === undefined ? {} : { input }),
    });
    if (done.status !== 0) throw new Error(`${command.join(' ')}: ${done.stderr}`);
    return done.stdout;
  }

  private get gateway(): string {
    return `${this.prefix}-gw`;
  }

  /** Replaces the whole ruleset. Throws with the words of `nft` when the packet filter refuses it. */
  load(ruleset: string): void {
    this.inside(this.gateway, ['nft', '-f', '-'], `flush ruleset\n${STEERING}\n${ruleset}`);
  }

  /** Replaces the rules of one family by `iptables-restore`; nftables rulesets are gone. */
  restore(family: 4 | 6, saved: string): void {
    this.inside(this.gateway, ['nft', '-f', '-'], `flush ruleset\n${STEERING}`);
    this.inside(this.gateway, [family === 4 ? 'iptables-nft-restore' : 'ip6tables-nft-restore'], saved);
  }

  /** What the packet filter itself says is loaded, without the steering table. */
  list(json: boolean): string {
    this.inside(this.gateway, ['nft', '-f', '-'], 'add table inet steering\ndelete table inet steering\n');
    return this.inside(this.gateway, ['nft', ...(json ? ['-j'] : []), 'list', 'ruleset']);
  }

  forgetConnections(): void {
    spawnSync('ip', ['netns', 'exec', this.gateway, 'conntrack', '-F']);
  }

  exchange(lines: readonly string[]): Arrival[] {
    return exchangePackets(
      this.gateway,
      LEGS.map((name) => `${this.prefix}-${name}=wire`),
      lines,
    );
  }

  hardwareAddress(leg: number): string {
    return GATEWAY_MAC(leg);
  }

  close(): void {
    for (const name of this.namespaces) spawnSync('ip', ['netns', 'del', name]);
    this.namespaces.length = 0;
  }
}

/** Sends lines through the network namespace of a forwarder; `legs` are NAMESPACE=INTERFACE, in their order. */
export function exchangePackets(
  namespace: string,
  legs: readonly string[],
  lines: readonly string[],
): Arrival[] {
  const done = spawnSync(python, [script, namespace, ...legs], {
    input: `${lines.join('\n')}\n`,
    encoding: 'utf8',
    maxBuffer: 512 * 1024 * 1024,
  });
  if (done.status !== 0) throw new Error(`packets.py: ${done.stderr}`);
  return done.stdout
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => {
      const [at = '', ...rest] = line.split(' ');
      const bytes = Buffer.from(rest.at(-1) ?? '', 'hex');
      if (at === 'in6') return { at: 'in', family: 6, protocol: Number(rest[0]), bytes };
      return { at, family: bytes[0]! >> 4 === 4 ? 4 : 6, protocol: null, bytes };
    });
}
