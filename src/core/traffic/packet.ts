import type { Address, Family } from '#core/address';
import type { ConnectionState, Path } from './policy.ts';

/** One concrete packet as it arrives, before any translation. */
export interface Packet {
  readonly path: Path;
  readonly family: Family;
  /** `''` on path `from`. */
  readonly inInterface: string;
  /** `''` on path `to`. */
  readonly outInterface: string;
  readonly source: Address;
  readonly destination: Address;
  /** IP protocol number. */
  readonly protocol: number;
  /** Only read for protocols that have ports; absent means 0. */
  readonly sourcePort?: number;
  readonly destinationPort?: number;
  /** Only read for ICMP and ICMPv6; absent means 0. */
  readonly icmpType?: number;
  readonly icmpCode?: number;
  readonly state: ConnectionState;
  /** Named conditions that hold for this packet; all others do not. */
  readonly conditions?: readonly string[];
}

/** TCP, UDP, DCCP, SCTP and UDP-Lite: the protocols whose header begins with two 16-bit ports. */
export const PORT_PROTOCOLS: readonly number[] = [6, 17, 33, 132, 136];

/** Whether packets of this protocol carry ports. */
export function hasPorts(protocol: number): boolean {
  return PORT_PROTOCOLS.includes(protocol);
}

/** The control message protocol of a family: 1 (RFC 792) or 58 (RFC 4443). */
export function icmpProtocol(family: Family): number {
  return family === 4 ? 1 : 58;
}
