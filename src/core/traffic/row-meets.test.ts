import { describe, expect, it } from 'vitest';
import { numberSet, parseAddresses } from '#core/address';
import type { Match } from './policy.ts';
import type { TrafficRow } from './row.ts';
import { rowMeets } from './row-meets.ts';

const outcome = { verdict: 'drop', rewrites: [] } as const;
const row: TrafficRow = {
  path: 'to',
  family: 4,
  inInterfaces: [{ text: 'mgmt', single: true, but: [] }],
  outInterfaces: undefined,
  sources: parseAddresses('10.4.0.0/16'),
  destinations: undefined,
  protocols: numberSet([[6, 6]]),
  sourcePorts: undefined,
  destinationPorts: numberSet([[22, 22]]),
  icmp: undefined,
  states: ['new'],
  conditions: [],
  before: outcome,
  after: outcome,
  ruleBefore: undefined,
  ruleAfter: undefined,
  example: {
    path: 'to',
    family: 4,
    inInterface: 'mgmt',
    outInterface: '',
    source: [0x0a040001],
    destination: [0x0a040002],
    protocol: 6,
    state: 'new',
  },
};
const meets = (flow: Match, path: 'to' | 'through' = 'to', families: (4 | 6)[] = [4]) =>
  rowMeets(row, path, families, flow);

describe('A row and a flow have packets in common', () => {
  it('when every field allows it, an absent limit being any', () => {
    expect(meets({})).toBe(true);
    expect(meets({ source: parseAddresses('10.4.255.255-10.5.0.0')!, states: ['new', 'established'] })).toBe(
      true,
    );
    expect(meets({ destinationPort: numberSet([[20, 22]]), protocol: numberSet([[6, 17]]) })).toBe(true);
    for (const names of [['mgmt'], ['lan0', 'mg*']]) expect(meets({ inInterface: { names } })).toBe(true);
  });

  it('and none when one field rules it out', () => {
    expect(meets({}, 'through')).toBe(false);
    expect(meets({}, 'to', [6])).toBe(false);
    expect(meets({ source: parseAddresses('10.5.0.0/16')! })).toBe(false);
    expect(meets({ source: parseAddresses('2001:db8::/32')! })).toBe(false);
    expect(meets({ destinationPort: numberSet([[23, 80]]) })).toBe(false);
    expect(meets({ states: ['established'] })).toBe(false);
    expect(meets({ inInterface: { names: ['lan0', 'm'] } })).toBe(false);
    expect(meets({ inInterface: { names: ['mgmt'], except: true } })).toBe(false);
  });
});
