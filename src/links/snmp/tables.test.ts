import { describe, expect, it } from 'vitest';
import { codeOf } from '#core/errors';
import { entityFields, memoryFrom, processorFrom } from './host.ts';
import { snmpAccess } from './index.ts';
import { interfacesFrom } from './interfaces.ts';
import type { SnmpTable, SnmpValue } from './session.ts';

const table = (rows: Record<string, Record<number, SnmpValue>>): SnmpTable =>
  new Map(
    Object.entries(rows).map(([index, row]) => [
      index,
      new Map(Object.entries(row).map(([column, value]) => [Number(column), value])),
    ]),
  );
const text = (value: string) => new TextEncoder().encode(value);

describe('interfaces by SNMP', () => {
  const ifRow = {
    2: text('eth0'),
    7: 1n,
    8: 1n,
    10: 7n,
    11: 1n,
    12: 2n,
    13: 3n,
    14: 4n,
    16: 8n,
    17: 5n,
    18: 6n,
    19: 9n,
    20: 10n,
  };

  it('take the 64-bit counters where there are some, and the name of ifXTable', () => {
    const wide = {
      1: text('outside'),
      6: 2n ** 40n,
      7: 1n,
      8: 2n,
      9: 3n,
      10: 2n ** 41n,
      11: 4n,
      12: 5n,
      13: 6n,
    };
    expect(interfacesFrom(table({ 3: ifRow }), table({ 3: wide }))).toEqual([
      {
        name: 'outside',
        admin: 'up',
        oper: 'up',
        counterBits: 64,
        inOctets: 2n ** 40n,
        outOctets: 2n ** 41n,
        inPackets: 6n,
        outPackets: 15n,
        inErrors: 4n,
        outErrors: 10n,
        inDiscards: 3n,
        outDiscards: 9n,
      },
    ]);
  });

  it('fall back to 32 bits and say so', () => {
    const [shown] = interfacesFrom(table({ 3: ifRow }), table({}));
    expect(shown).toMatchObject({
      name: 'eth0',
      counterBits: 32,
      inOctets: 7n,
      inPackets: 3n,
      outPackets: 11n,
    });
  });

  it('of a slow interface that has an ifXTable row without 64-bit counters are 32 bits wide', () => {
    // RFC 2863 section 3.1.6: at 20 Mbit/s or less the 32-bit counters are the ones that must be there.
    const narrow = { 1: text('serial0'), 2: 10n, 3: 20n, 4: 30n, 5: 40n };
    const [shown] = interfacesFrom(table({ 3: ifRow }), table({ 3: narrow }));
    expect(shown).toMatchObject({ name: 'serial0', counterBits: 32, inPackets: 31n, outPackets: 75n });
  });

  it('have no counter where a part of it is missing, never a wrong one', () => {
    const [shown] = interfacesFrom(table({ 3: { 2: text('eth0'), 8: 7n } }), table({}));
    expect(shown).toMatchObject({ inOctets: null, inPackets: null, admin: 'unknown', oper: 'down' });
  });

  it('with octets and not one packet are on an agent that does not count packets: no figure, never a false one', () => {
    const [shown] = interfacesFrom(table({ 3: { ...ifRow, 11: 0n, 12: 0n } }), table({}));
    expect(shown).toMatchObject({ inOctets: 7n, inPackets: null, outPackets: 11n });
  });

  it('whose parts wrap keep a sum that wraps with them', () => {
    const near = 2n ** 32n - 1n;
    const [shown] = interfacesFrom(table({ 3: { ...ifRow, 11: near, 12: 5n } }), table({}));
    expect(shown!.inPackets).toBe(4n);
  });
});

describe('a host by SNMP', () => {
  const ram = '1.3.6.1.2.1.25.2.1.2';

  it('has the memory of its largest RAM storage; "Available memory" of net-snmp is what is free', () => {
    const rows = {
      1: { 2: ram, 3: text('Physical memory'), 4: 1024n, 5: 1000n, 6: 900n },
      10: { 2: '1.3.6.1.2.1.25.2.1.3', 3: text('Swap space'), 4: 1024n, 5: 9000n, 6: 0n },
    };
    expect(memoryFrom(table(rows))).toEqual({ totalBytes: 1_024_000, freeBytes: 102_400 });
    const available = { 2: '1.3.6.1.2.1.25.2.1.1', 3: text('Available memory'), 4: 1024n, 5: 700n, 6: 0n };
    expect(memoryFrom(table({ ...rows, 11: available }))).toEqual({
      totalBytes: 1_024_000,
      freeBytes: 716_800,
    });
  });

  it('without RAM storage or processors has neither', () => {
    expect(memoryFrom(table({}))).toBeNull();
    expect(processorFrom(table({}))).toBeNull();
    expect(processorFrom(table({ 1: { 2: 10n }, 2: { 2: 25n } }))).toBe(17.5);
  });

  it('tells its chassis apart from its modules', () => {
    const rows = {
      1: { 5: 9n, 13: text('fan') },
      2: { 5: 3n, 10: text(' '), 11: text('GR40-0001'), 13: text('Groyne 40') },
    };
    expect(entityFields(table(rows))).toEqual({
      'entity.modelName': 'Groyne 40',
      'entity.serialNumber': 'GR40-0001',
    });
  });
});

describe('SNMP access data', () => {
  const thrown = (secrets: Record<string, string>) => {
    try {
      snmpAccess(secrets);
      return undefined;
    } catch (error) {
      return codeOf(error);
    }
  };

  it('are none, a community, or a user with authentication and privacy', () => {
    expect(snmpAccess({ password: 'x' })).toBeNull();
    expect(snmpAccess({ snmpCommunity: 'tide' })).toEqual({ version: '2c', port: 161, community: 'tide' });
    expect(
      snmpAccess({
        snmpUser: 'w',
        snmpAuthPassword: 'a',
        snmpPrivacyPassword: 'p',
        snmpPrivacyProtocol: 'aes',
      }),
    ).toMatchObject({
      version: '3',
      authProtocol: 'SHA-256',
      privacyProtocol: 'AES-128',
    });
  });

  it('with a part missing or a protocol that is not known are refused', () => {
    expect(thrown({ snmpUser: 'w', snmpAuthPassword: 'a' })).toBe('links/missing-secret');
    expect(
      thrown({ snmpUser: 'w', snmpAuthPassword: 'a', snmpPrivacyPassword: 'p', snmpAuthProtocol: 'MD5' }),
    ).toBe('links/auth');
  });
});
