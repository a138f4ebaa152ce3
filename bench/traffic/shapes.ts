import {
  type AddressSet,
  addressSet,
  type Family,
  type NumberSet,
  numberSet,
  rangeOfPrefix,
} from '#core/address';
import type { Action, Match, Policy, Rule, Stage } from '#core/traffic';
import { type Random, seeded } from './random.ts';

export type Shape = 'short' | 'wide' | 'services' | 'enterprise';

export const SHAPES: readonly Shape[] = ['short', 'wide', 'services', 'enterprise'];

const TCP = 6;
const UDP = 17;
const COMMON_PORTS = [
  22, 25, 53, 80, 110, 123, 143, 161, 389, 443, 445, 514, 587, 636, 993, 1433, 1521, 3306, 3389, 5432, 8080,
  8443,
];
const ZONES = ['lan0', 'lan1', 'dmz0', 'dmz1', 'wan0', 'wan1', 'vpn0', 'mgmt0', 'guest0', 'voice0'];

/** A policy of one shape with `count` filter rules. The same seed gives the same policy. */
export function policyOf(shape: Shape, count: number, seed: number): Policy {
  const random = seeded(seed);
  return shape === 'enterprise' ? enterprise(count, random) : flat(shape, count, random);
}

const accept: Action = { verdict: 'accept' };
const drop: Action = { verdict: 'drop' };

export function ruleOf(match: Match, action: Action, line: number): Rule {
  const verdict = 'verdict' in action ? action.verdict : 'skip' in action ? 'jump' : 'translate';
  return { match, action, origin: { file: 'generated', line, text: `rule ${line} ${verdict}` } };
}

function flat(shape: Exclude<Shape, 'enterprise'>, count: number, random: Random): Policy {
  const match = { short: shortMatch, wide: wideMatch, services: servicesMatch }[shape];
  const rules: Rule[] = [];
  for (let i = 1; i <= count; i++) rules.push(ruleOf(match(random), random.chance(0.65) ? accept : drop, i));
  rules.push(ruleOf({}, drop, count + 1));
  return { pipelines: [{ path: 'through', family: 4, stages: [filter(rules)] }], unread: [] };
}

function filter(rules: readonly Rule[]): Stage {
  return { kind: 'filter', name: 'forward', rules };
}

/** One match of a shape; edits use it too. */
export function matchOf(shape: Shape, random: Random): Match {
  return {
    short: shortMatch,
    wide: wideMatch,
    services: servicesMatch,
    enterprise: (r: Random) => zoneMatch(r, 4),
  }[shape](random);
}

/** Hosts and small networks, one port. */
function shortMatch(random: Random): Match {
  return {
    ...(random.chance(0.9) && { source: prefix(random, 16, 32) }),
    ...(random.chance(0.95) && { destination: prefix(random, 20, 32) }),
    protocol: one(random.chance(0.75) ? TCP : UDP),
    destinationPort: one(random.pick(COMMON_PORTS)),
  };
}

/** Large networks that overlap one another, port ranges. */
function wideMatch(random: Random): Match {
  const low = random.below(60000);
  return {
    ...(random.chance(0.8) && { source: prefix(random, 9, 18) }),
    ...(random.chance(0.8) && { destination: prefix(random, 9, 18) }),
    ...(random.chance(0.8) && { protocol: one(random.chance(0.7) ? TCP : UDP) }),
    ...(random.chance(0.6) && { destinationPort: [low, Math.min(65535, low + 1 + random.below(5000))] }),
  };
}

/** Few networks, many services per rule. */
function servicesMatch(random: Random): Match {
  const ports: [number, number][] = [];
  for (let n = 1 + random.below(8); n > 0; n--) {
    const low = random.chance(0.6) ? random.pick(COMMON_PORTS) : random.below(65000);
    ports.push([low, random.chance(0.8) ? low : low + random.below(500)]);
  }
  return {
    ...(random.chance(0.7) && { source: network(random, 40) }),
    ...(random.chance(0.7) && { destination: network(random, 40) }),
    protocol: one(random.chance(0.7) ? TCP : UDP),
    destinationPort: numberSet(ports),
    ...(random.chance(0.05) && { sourcePort: [1024, 65535] as NumberSet }),
  };
}

/** Zones, groups of networks, a quarter of the rules for IPv6, translations, answers let through first. */
function enterprise(count: number, random: Random): Policy {
  const established: Match = { states: ['established', 'related'] };
  const filters: Record<Family, Rule[]> = {
    4: [ruleOf(established, accept, 1)],
    6: [ruleOf(established, accept, 1)],
  };
  for (let i = 2; i <= count; i++) {
    const family = random.chance(0.25) ? 6 : 4;
    filters[family].push(ruleOf(zoneMatch(random, family), random.chance(0.8) ? accept : drop, i));
  }
  const dnat: Rule[] = [];
  for (let i = 0; i < Math.min(60, Math.ceil(count / 50)); i++) {
    const match: Match = {
      inInterface: { names: ['wan0'] },
      states: ['new'],
      destination: addressSet(4, [rangeOfPrefix([0xcb00_7100 + (i % 256)], 32)]),
      protocol: one(TCP),
      destinationPort: one(random.pick([80, 443, 25, 8443])),
    };
    const inside = addressSet(4, [rangeOfPrefix([0x0a14_0000 + random.below(4096)], 32)]);
    dnat.push(ruleOf(match, { rewrite: { kind: 'dnat', addresses: inside } }, i + 1));
  }
  const snat = ruleOf(
    {
      outInterface: { names: ['wan0', 'wan1'] },
      source: addressSet(4, [rangeOfPrefix([0x0a00_0000], 8)]),
      states: ['new'],
    },
    { rewrite: { kind: 'masquerade' } },
    1,
  );
  for (const family of [4, 6] as const) filters[family].push(ruleOf({}, drop, count + 1));
  return {
    pipelines: [
      {
        path: 'through',
        family: 4,
        stages: [
          { kind: 'nat', name: 'prerouting', rules: dnat },
          filter(filters[4]),
          { kind: 'nat', name: 'postrouting', rules: [snat] },
        ],
      },
      { path: 'through', family: 6, stages: [filter(filters[6])] },
    ],
    unread: [],
  };
}

function zoneMatch(random: Random, family: Family): Match {
  const group = () => {
    const networks = Array.from({ length: 1 + random.below(4) }, () => networkRange(random, family));
    return addressSet(family, networks);
  };
  const ports = Array.from({ length: 1 + random.below(4) }, () => random.pick(COMMON_PORTS));
  return {
    ...(random.chance(0.9) && { inInterface: { names: [random.pick(ZONES)] } }),
    ...(random.chance(0.9) && { outInterface: { names: [random.pick(ZONES)] } }),
    ...(random.chance(0.8) && { source: group() }),
    ...(random.chance(0.85) && { destination: group() }),
    protocol: one(random.chance(0.8) ? TCP : UDP),
    destinationPort: numberSet(ports.map((p) => [p, p])),
  };
}

function networkRange(random: Random, family: Family) {
  const length = 16 + random.below(17);
  const word = 0x0a00_0000 + random.below(2 ** 24);
  return family === 4
    ? rangeOfPrefix([word], length)
    : rangeOfPrefix(
        [0x2001_0db8, random.below(4096) * 0x1_0000, random.below(2 ** 32), word],
        32 + random.below(97),
      );
}

function prefix(random: Random, shortest: number, longest: number): AddressSet {
  const length = shortest + random.below(longest - shortest + 1);
  return addressSet(4, [rangeOfPrefix([0x0a00_0000 + random.below(2 ** 24)], length)]);
}

function network(random: Random, networks: number): AddressSet {
  return addressSet(4, [rangeOfPrefix([0x0a00_0000 + random.below(networks) * 0x1_0000], 16)]);
}

function one(value: number): NumberSet {
  return [value, value];
}
