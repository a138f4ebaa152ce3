import { execFileSync, spawnSync } from 'node:child_process';
import type { Packet, TrafficRow } from '#core/traffic';
import type { Gateway as LabGateway, Leg } from '../../../lab/index.ts';
import { type Arrival, exchangePackets, type Forwarder, LEGS, STEERING } from '../traffic/gateway.ts';

/** Which leg of a real gateway stands for which of the oracle's. */
const REAL: Readonly<Record<(typeof LEGS)[number], Leg>> = { lan0: 'inside', wan0: 'outside', dmz0: 'dmz' };
const toReal = (name: string): string => REAL[name as 'lan0'] ?? name;
const toOracle = (name: string): string => LEGS.find((leg) => REAL[leg] === name) ?? name;

/** A packet as the real gateway's rules see it. */
export function onReal(packet: Packet): Packet {
  return {
    ...packet,
    inInterface: toReal(packet.inInterface),
    outInterface: toReal(packet.outInterface),
  };
}

/** A row of the real gateway's traffic, with the oracle's names in its example. */
export function forOracle(row: TrafficRow): TrafficRow {
  const { inInterface, outInterface } = row.example;
  return {
    ...row,
    example: { ...row.example, inInterface: toOracle(inInterface), outInterface: toOracle(outInterface) },
  };
}

/**
 * The packet oracle's way through a real gateway of the lab. The gateway's own rules stay as they are: beside them
 * stands only what leads any packet out of the leg it names, or to the gateway itself.
 */
export class RealLegs implements Forwarder {
  readonly #gateway: LabGateway;
  readonly #addresses: readonly string[];
  #aside: string | null = null;

  constructor(gateway: LabGateway) {
    this.#gateway = gateway;
    this.#addresses = LEGS.map((leg) => this.#address(REAL[leg]));
    const { legs } = gateway.plan;
    for (const [index, leg] of LEGS.entries()) {
      const name = REAL[leg];
      const table = String(101 + index);
      for (const [family, via] of [
        ['-4', legs[name].host4],
        ['-6', legs[name].host6],
      ] as const) {
        this.#ip(family, 'route', 'add', 'default', 'via', via, 'dev', name, 'table', table);
        this.#ip(
          family,
          'rule',
          'add',
          'fwmark',
          String(index + 1),
          'lookup',
          table,
          'pref',
          String(10 + index),
        );
      }
    }
    for (const family of ['-4', '-6']) {
      this.#ip(family, 'route', 'add', 'local', 'default', 'dev', 'lo', 'table', '104');
      this.#ip(family, 'rule', 'add', 'fwmark', '4', 'lookup', '104', 'pref', '20');
    }
  }

  /** To be called after each load of the gateway's own configuration, which sets all of this back. */
  steer(): void {
    if (this.#aside !== null) this.#inside(['nft', '-f', '-'], `flush ruleset\n${this.#aside}`);
    this.#aside = null;
    this.#anyWay();
    this.#inside(['nft', '-f', '-'], `add table inet steering\ndelete table inet steering\n${STEERING}`);
  }

  /** Takes packets whatever way their source would be answered by. */
  #anyWay(): void {
    for (const name of ['all', ...Object.values(REAL)])
      this.#inside(['sysctl', '-qw', `net.ipv4.conf.${name}.rp_filter=0`]);
  }

  /** Takes the steering away, so that the gateway is as it was. */
  unsteer(): void {
    this.#inside(['nft', '-f', '-'], 'add table inet steering\ndelete table inet steering\n');
  }

  /** Other rules for a while: `steer` puts the gateway's own back, as the kernel listed them. */
  load(ruleset: string): void {
    this.#aside ??= this.rules();
    this.#anyWay();
    this.#inside(['nft', '-f', '-'], `flush ruleset\n${STEERING}\n${ruleset}`);
  }

  /** The gateway's rules as the kernel lists them, without what their counters show. */
  rules(): string {
    return this.#inside(['nft', '-s', 'list', 'ruleset']);
  }

  forgetConnections(): void {
    spawnSync('ip', ['netns', 'exec', this.#gateway.plan.netns, 'conntrack', '-F']);
  }

  exchange(lines: readonly string[]): Arrival[] {
    const { netns, legs } = this.#gateway.plan;
    return exchangePackets(
      netns,
      LEGS.map((leg) => `${legs[REAL[leg]].netns}=leg`),
      lines,
    );
  }

  hardwareAddress(leg: number): string {
    return this.#addresses[leg]!;
  }

  #address(leg: Leg): string {
    const [shown] = JSON.parse(this.#inside(['ip', '-j', 'link', 'show', 'dev', leg])) as {
      address: string;
    }[];
    return shown!.address.replaceAll(':', '');
  }

  #ip(...args: string[]): void {
    execFileSync('ip', ['-n', this.#gateway.plan.netns, ...args]);
  }

  #inside(command: readonly string[], input = ''): string {
    return execFileSync('ip', ['netns', 'exec', this.#gateway.plan.netns, ...command], {
      input,
      encoding: 'utf8',
    });
  }
}
