import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { numberSet, parseAddresses } from '#core/address';
import { codeOf } from '#core/errors';
import { outcomesText, rowText, rowTexts } from './describe.ts';
import { trafficDifference } from './difference/difference.ts';
import { packetRecord, packetText, readPacket } from './packet-record.ts';
import type { Match, Policy } from './policy.ts';
import { smallPacket } from './small-policies.reference.ts';
import { protocolNumber, protocolText } from './words.ts';

const one = (match: Match, path: 'through' | 'to' = 'through', family: 4 | 6 = 4): Policy => ({
  unread: [],
  pipelines: [
    {
      path,
      family,
      stages: [
        {
          kind: 'filter',
          name: 'f',
          rules: [
            { match, action: { verdict: 'drop' }, origin: { file: 'mole.rules', line: 3, text: 'block' } },
          ],
        },
      ],
    },
  ],
});
const open: Policy = { pipelines: [], unread: [] };
const rowsOf = (match: Match, family: 4 | 6 = 4) =>
  trafficDifference(open, one(match, 'through', family)).rows;

describe('a row in words', () => {
  it('says any where there is no limit', () => {
    const [row] = rowsOf({});
    expect(rowText(row!)).toBe('any IPv4 from any to any');
    const [web] = rowsOf({ protocol: [6, 6], destinationPort: [443, 443] }, 6);
    expect(rowText(web!)).toBe('tcp over IPv6 from any to any port 443');
    expect(rowText(web!, {}, [4, 6])).toBe('tcp over IPv4 and IPv6 from any to any port 443');
    const [but] = rowsOf({ protocol: [0, 5, 7, 255] });
    expect(rowText(but!)).toBe('any IPv4 but tcp from any to any');
  });

  it('lists several ports and prefixes in one row', () => {
    const rows = rowsOf({
      source: parseAddresses('10.0.0.4-10.0.0.9')!,
      destination: parseAddresses('192.0.2.0/24')!,
      protocol: [6, 6],
      destinationPort: numberSet([
        [80, 80],
        [443, 443],
        [8000, 8100],
      ]),
      states: ['new'],
    });
    expect(rows.map((row) => rowText(row))).toEqual([
      'tcp from 10.0.0.4-10.0.0.9 to 192.0.2.0/24 port 80, 443, 8000-8100, new',
    ]);
  });

  it('names twenty entries of a long list and counts the rest', () => {
    const ports = numberSet(Array.from({ length: 100 }, (_, i) => [2 * i, 2 * i]));
    const [row] = rowsOf({ protocol: [6, 6], destinationPort: ports });
    expect(rowText(row!)).toMatch(/ port 0, 2, .*, 38 and 80 more$/);
    expect(rowTexts(row!).destinationPorts).toHaveLength(100);
  });

  it('names ICMP types and codes of each family', () => {
    const texts = (match: Match, family: 4 | 6) => rowTexts(rowsOf(match, family)[0]!).icmp;
    expect(texts({ icmp: [8 * 256, 8 * 256 + 255] }, 4)).toEqual(['echo-request']); // RFC 792: 8 is echo
    expect(texts({ icmp: [3 * 256 + 4, 3 * 256 + 4] }, 4)).toEqual(['destination-unreachable code 4']); // RFC 792: fragmentation needed
    expect(texts({ icmp: [128 * 256, 128 * 256 + 255] }, 6)).toEqual(['echo-request']); // RFC 4443 section 4.1
  });

  it('says which interfaces are not meant', () => {
    const [row] = rowsOf({ inInterface: { names: ['wan*', 'lan0'], except: true } });
    expect(rowTexts(row!).inInterfaces).toEqual(['any except lan0, wan*']);
    const [wan] = rowsOf({ inInterface: { names: ['wan*'] } });
    expect(rowTexts(wan!).inInterfaces).toEqual(['wan*']);
  });

  it('uses the names of objects where they fit', () => {
    const [row] = rowsOf({
      source: parseAddresses('10.1.0.0/16')!,
      protocol: [6, 6],
      destinationPort: [443, 443],
    });
    const naming = {
      addresses: (set: object) =>
        JSON.stringify(set) === JSON.stringify(parseAddresses('10.1.0.0/16')) ? 'north-mole' : undefined,
      ports: () => 'web',
    };
    expect(rowText(row!, naming)).toBe('tcp from north-mole to any port web');
  });
});

it('a row whose parts are translated in several ways says that only the translation differs', () => {
  const accept = { verdict: 'accept', rewrites: [] } as const;
  expect(outcomesText({ before: accept, after: accept })).toBe('accept, translated differently');
  expect(outcomesText({ before: { verdict: 'drop', rewrites: [] }, after: accept })).toBe('drop -> accept');
});

describe('a packet as data', () => {
  it('reads back what was written', () => {
    for (const family of [4, 6] as const) {
      fc.assert(
        fc.property(smallPacket(family), (packet) => {
          const { conditions, ...rest } = packet;
          const plain = conditions?.length ? packet : rest;
          expect(readPacket(JSON.parse(JSON.stringify(packetRecord(packet))))).toEqual(plain);
        }),
      );
    }
  });

  it('reads in one line', () => {
    const packet = readPacket({
      source: '2001:db8::1',
      destination: '2001:db8::2',
      protocol: 'tcp',
      sourcePort: 40000,
      destinationPort: 443,
      inInterface: 'lan0',
      outInterface: 'wan0',
    });
    expect(packetText(packet)).toBe('tcp [2001:db8::1]:40000 on lan0 -> [2001:db8::2]:443 on wan0, new');
  });

  it.each([
    [{ source: '10.0.0.300', destination: '10.0.0.1', protocol: 'tcp' }, 'source'],
    [{ source: '10.0.0.3', destination: '::1', protocol: 'tcp' }, 'destination'],
    [{ source: '10.0.0.3', destination: '10.0.0.1', protocol: 'tpc' }, 'protocol'],
    [{ source: '10.0.0.3', destination: '10.0.0.1', protocol: 6, destinationPort: 70000 }, 'destinationPort'],
    [{ source: '10.0.0.3', destination: '10.0.0.1', protocol: 6, state: 'fresh' }, 'state'],
    [{ source: '10.0.0.3', destination: '10.0.0.1', protocol: 'icmp', icmp: 'ecco' }, 'icmp'],
    ['10.0.0.1', ''],
  ])('%j is refused with the field %j', (record, field) => {
    try {
      readPacket(record, { file: 'packets.jsonl', line: 7 });
      expect.unreachable();
    } catch (error) {
      expect(codeOf(error)).toBe('traffic/bad-packet');
      expect((error as { place: unknown }).place).toEqual({ file: 'packets.jsonl', line: 7, field });
    }
  });
});

// /etc/protocols (package netbase) carries the IANA names; where this machine has it, names must agree with it.
describe('protocol names', () => {
  it('are those of /etc/protocols', () => {
    const listed = new Map<string, number>();
    let text = 'tcp 6 TCP\nudp 17 UDP\nicmp 1 ICMP\nsctp 132 SCTP\nvrrp 112 VRRP\nesp 50 IPSEC-ESP\n';
    try {
      text = readFileSync('/etc/protocols', 'utf8');
    } catch {
      // Not every machine has the file: then the six lines above, typed from netbase 6.4, are checked.
    }
    for (const line of text.split('\n')) {
      const [name, number, ...aliases] = line.replace(/#.*/, '').trim().split(/\s+/);
      for (const alias of [name, ...aliases])
        if (number !== undefined) listed.set(alias!.toLowerCase(), Number(number));
    }
    let checked = 0;
    for (const [name, number] of listed) {
      if (protocolNumber(name) === undefined) continue;
      expect([name, protocolNumber(name)]).toEqual([name, number]);
      checked++;
    }
    expect(checked).toBeGreaterThan(5);
    expect(protocolText(253)).toBe('253');
  });
});
