import { expect, test } from 'vitest';
import { addressSet, numberSet, parseAddress, rangeOfPrefix } from '#core/address';
import type { TrafficRow } from '../row.ts';
import { icmpTypeOf, icmpWord, protocolOf, protocolWord } from './protocols.ts';
import { wordsOfRow } from './row-words.ts';
import { rowSentence } from './sentence.ts';

const origin = { file: 'policy.nft', line: 12, text: 'tcp dport 22 accept' };
const row: TrafficRow = {
  path: 'through',
  family: 4,
  inInterfaces: [{ text: 'wan0', single: true, but: [] }],
  outInterfaces: [{ text: '', single: false, but: ['crew0'] }],
  sources: undefined,
  destinations: addressSet(4, [rangeOfPrefix(parseAddress('10.4.0.0')!, 16)]),
  protocols: numberSet([[6, 6]]),
  sourcePorts: undefined,
  destinationPorts: numberSet([
    [22, 22],
    [1024, 65535],
  ]),
  icmp: undefined,
  states: ['new'],
  conditions: [{ name: 'limit rate 5/second', holds: false }],
  before: { verdict: 'drop', rewrites: [] },
  after: { verdict: 'accept', rewrites: [{ kind: 'masquerade' }] },
  ruleBefore: undefined,
  ruleAfter: { match: {}, action: { verdict: 'accept' }, origin },
  example: {
    path: 'through',
    family: 4,
    inInterface: 'wan0',
    outInterface: 'tick0',
    source: parseAddress('192.0.2.1')!,
    destination: parseAddress('10.4.0.1')!,
    protocol: 6,
    sourcePort: 1024,
    destinationPort: 22,
    state: 'new',
  },
};

test('a row is a list of texts for each field, and "any" where there is no limit', () => {
  expect(wordsOfRow(row)).toMatchObject({
    before: 'drop',
    after: 'accept',
    rewrite: { before: null, after: 'masquerade' },
    inInterfaces: ['wan0'],
    outInterfaces: ['* but crew0'],
    sources: ['any'],
    destinations: ['10.4.0.0/16'],
    protocols: ['tcp'],
    destinationPorts: ['22', '1024-65535'],
    icmp: ['any'],
    states: ['new'],
    conditions: ['not: limit rate 5/second'],
    ruleBefore: null,
    ruleAfter: origin,
    example: { source: '192.0.2.1', protocol: 'tcp', destinationPort: 22 },
  });
});

test('a row reads as a sentence', () => {
  expect(rowSentence(row)).toBe(
    'drop -> accept (masquerade): IPv4 in wan0 out * but crew0 to 10.4.0.0/16 tcp port 22, 1024-65535 state new if not: limit rate 5/second',
  );
});

test('a set that leaves out less than it holds is named by what it leaves out', () => {
  const most = {
    ...row,
    conditions: [],
    destinations: undefined,
    destinationPorts: numberSet([
      [0, 52],
      [54, 65535],
    ]),
  };
  expect(rowSentence(most)).toContain('tcp port any but 53 state new');
});

test('ICMP is named by type, and by code where not all codes are meant', () => {
  const icmp = (set: readonly (readonly [number, number])[]) =>
    wordsOfRow({ ...row, protocols: numberSet([[1, 1]]), icmp: numberSet(set) }).icmp;
  expect(icmp([[8 * 256, 8 * 256 + 255]])).toEqual(['echo-request']);
  expect(icmp([[3 * 256 + 4, 3 * 256 + 4]])).toEqual(['destination-unreachable code 4']);
});

test('protocol and ICMP words are those of the IANA registries, both ways', () => {
  for (const number of [1, 6, 17, 47, 50, 58, 132, 200])
    expect(protocolOf(protocolWord(number))).toBe(number);
  expect(icmpTypeOf('echo-request', 6)).toBe(128);
  expect(icmpWord(8, 4)).toBe('echo-request');
  expect(protocolOf('no-such')).toBeUndefined();
});
