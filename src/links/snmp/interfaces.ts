import type { InterfaceReading, LinkState } from '#core/reading';
import type { SnmpTable, SnmpValue } from './session.ts';

/** IF-MIB (RFC 2863). */
export const IF_ENTRY = '1.3.6.1.2.1.2.2.1';
export const IFX_ENTRY = '1.3.6.1.2.1.31.1.1.1';

/** Columns of ifTable. The two NUcastPkts are deprecated, but all that an agent without ifXTable has. */
const IF = {
  descr: 2,
  admin: 7,
  oper: 8,
  inOctets: 10,
  inUnicast: 11,
  inNonUnicast: 12,
  inDiscards: 13,
  inErrors: 14,
  outOctets: 16,
  outUnicast: 17,
  outNonUnicast: 18,
  outDiscards: 19,
  outErrors: 20,
} as const;
const IFX = {
  name: 1,
  inMulticast: 2,
  inBroadcast: 3,
  outMulticast: 4,
  outBroadcast: 5,
  wideInOctets: 6,
  wideInUnicast: 7,
  wideInMulticast: 8,
  wideInBroadcast: 9,
  wideOutOctets: 10,
  wideOutUnicast: 11,
  wideOutMulticast: 12,
  wideOutBroadcast: 13,
} as const;
export const IF_COLUMNS: readonly number[] = Object.values(IF);
export const IFX_COLUMNS: readonly number[] = Object.values(IFX);

/**
 * Interfaces out of ifTable and ifXTable. Where an interface has no 64-bit octet counters (RFC 2863 section 3.1.6 lets slow
 * ones go without), its 32-bit ones are taken and `counterBits` says so.
 */
export function interfacesFrom(ifTable: SnmpTable, ifXTable: SnmpTable): InterfaceReading[] {
  return [...ifTable].map(([index, row]) => {
    const extra = ifXTable.get(index) ?? new Map<number, SnmpValue>();
    const low = (column: number) => counter(row.get(column));
    const high = (column: number) => counter(extra.get(column));
    const name = text(extra.get(IFX.name)) || text(row.get(IF.descr)) || index;
    const wide = high(IFX.wideInOctets) !== null && high(IFX.wideOutOctets) !== null;
    const hasNarrowParts = high(IFX.inMulticast) !== null;
    const inOctets = wide ? high(IFX.wideInOctets) : low(IF.inOctets);
    const outOctets = wide ? high(IFX.wideOutOctets) : low(IF.outOctets);
    const inPackets = wide
      ? sum(64, high(IFX.wideInUnicast), high(IFX.wideInMulticast), high(IFX.wideInBroadcast))
      : hasNarrowParts
        ? sum(32, low(IF.inUnicast), high(IFX.inMulticast), high(IFX.inBroadcast))
        : sum(32, low(IF.inUnicast), low(IF.inNonUnicast));
    const outPackets = wide
      ? sum(64, high(IFX.wideOutUnicast), high(IFX.wideOutMulticast), high(IFX.wideOutBroadcast))
      : hasNarrowParts
        ? sum(32, low(IF.outUnicast), high(IFX.outMulticast), high(IFX.outBroadcast))
        : sum(32, low(IF.outUnicast), low(IF.outNonUnicast));
    return {
      name,
      admin: adminState(row.get(IF.admin)),
      oper: operState(row.get(IF.oper)),
      counterBits: wide ? 64 : 32,
      inOctets,
      outOctets,
      inPackets: counted(inPackets, inOctets),
      outPackets: counted(outPackets, outOctets),
      inErrors: low(IF.inErrors),
      outErrors: low(IF.outErrors),
      inDiscards: low(IF.inDiscards),
      outDiscards: low(IF.outDiscards),
    };
  });
}

/**
 * All packets: unicast, multicast and broadcast together, null where a part is missing. Each part wraps by itself; modulo
 * the width the sum of their rises stays right.
 */
function sum(bits: 32 | 64, ...parts: readonly (bigint | null)[]): bigint | null {
  let total = 0n;
  for (const part of parts) {
    if (part === null) return null;
    total += part;
  }
  return BigInt.asUintN(bits, total);
}

/** Octets without a single packet: the agent does not count packets there (net-snmp 5.9.3 counts none that come in). */
function counted(packets: bigint | null, octets: bigint | null): bigint | null {
  return packets === 0n && octets !== null && octets > 0n ? null : packets;
}

const counter = (value: SnmpValue | undefined) => (typeof value === 'bigint' ? value : null);

export function text(value: SnmpValue | undefined): string {
  if (value === undefined) return '';
  return (value instanceof Uint8Array ? new TextDecoder().decode(value) : String(value))
    .replace(/\0+$/u, '')
    .trim();
}

/** ifAdminStatus: up(1), down(2), testing(3). */
function adminState(value: SnmpValue | undefined): LinkState {
  return value === 1n ? 'up' : value === 2n ? 'down' : 'unknown';
}

/** ifOperStatus: up(1), down(2); notPresent(6) and lowerLayerDown(7) are refinements of down (RFC 2863 section 3.1.15). */
function operState(value: SnmpValue | undefined): LinkState {
  if (value === 1n) return 'up';
  return value === 2n || value === 6n || value === 7n ? 'down' : 'unknown';
}
