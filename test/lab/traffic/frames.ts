import type { Packet } from '#core/traffic';
import { type Forwarder, LEGS, LOCAL, UNTRACKED } from './gateway.ts';

/** Ends every packet, followed by its number, so that it is known again wherever it arrives. */
const MAGIC = 0x54504b31;
/** TCP sequence numbers carry the number too, since a reset has no content: base + 16 x number. */
const BASE = 0x54000000;

const SYN = 2;
const FIN = 1;
const ACK = 16;

const words = (address: readonly number[]): Buffer => {
  const bytes = Buffer.alloc(address.length * 4);
  for (const [i, word] of address.entries()) bytes.writeUInt32BE(word, i * 4);
  return bytes;
};

/** The Internet checksum (RFC 1071). */
function checksum(...parts: readonly Buffer[]): number {
  const bytes = Buffer.concat(
    parts.map((part) => (part.length % 2 === 0 ? part : Buffer.concat([part, Buffer.of(0)]))),
  );
  let sum = 0;
  for (let i = 0; i < bytes.length; i += 2) sum += bytes.readUInt16BE(i);
  while (sum > 0xffff) sum = (sum & 0xffff) + (sum >>> 16);
  return ~sum & 0xffff;
}

function mark(number: number): Buffer {
  const end = Buffer.alloc(8);
  end.writeUInt32BE(MAGIC, 0);
  end.writeUInt32BE(number, 4);
  return end;
}

function transport(packet: Packet, number: number, tcpFlags: number): Buffer {
  const end = mark(number);
  const pseudo = Buffer.concat([words(packet.source), words(packet.destination)]);
  const finish = (head: Buffer, at: number, protocol: number | null): Buffer => {
    const all = Buffer.concat([head, end]);
    const tail = Buffer.alloc(4);
    tail.writeUInt16BE(all.length, 0);
    tail.writeUInt16BE(protocol ?? 0, 2);
    all.writeUInt16BE(protocol === null ? checksum(all) : checksum(pseudo, tail, all), at);
    return all;
  };
  switch (packet.protocol) {
    case 6: {
      const head = Buffer.alloc(20);
      head.writeUInt16BE(packet.sourcePort ?? 0, 0);
      head.writeUInt16BE(packet.destinationPort ?? 0, 2);
      head.writeUInt32BE(BASE + number * 16, 4);
      if ((tcpFlags & ACK) !== 0) head.writeUInt32BE(BASE + number * 16 + 9, 8);
      head[12] = 0x50;
      head[13] = tcpFlags;
      head.writeUInt16BE(8192, 14);
      return finish(head, 16, 6);
    }
    case 17: {
      const head = Buffer.alloc(8);
      head.writeUInt16BE(packet.sourcePort ?? 0, 0);
      head.writeUInt16BE(packet.destinationPort ?? 0, 2);
      head.writeUInt16BE(16, 4);
      return finish(head, 6, 17);
    }
    case 1:
    case 58: {
      const head = Buffer.alloc(8);
      head[0] = packet.icmpType ?? 0;
      head[1] = packet.icmpCode ?? 0;
      if (packet.state === 'related') {
        // An error about a packet the other way (RFC 792, RFC 4443): four unused bytes, then that packet.
        const quoted = ipPacket(quotedBy(packet, number), number, 0, 0);
        const error = Buffer.concat([head, quoted.subarray(0, quoted.length - 8)]);
        return finish(error, 2, packet.protocol === 1 ? null : 58);
      }
      head.writeUInt16BE(number & 0xffff, 4);
      head.writeUInt16BE(number >>> 16, 6);
      return finish(head, 2, packet.protocol === 1 ? null : 58);
    }
    default:
      return end;
  }
}

/** The packet as bytes, from the IP header on, with the given DSCP. */
function ipPacket(packet: Packet, number: number, dscp: number, tcpFlags: number): Buffer {
  const body = transport(packet, number, tcpFlags);
  if (packet.family === 4) {
    const head = Buffer.alloc(20);
    head[0] = 0x45;
    head[1] = dscp << 2;
    head.writeUInt16BE(20 + body.length, 2);
    head.writeUInt16BE(0x4000, 6);
    head[8] = 64;
    head[9] = packet.protocol;
    words(packet.source).copy(head, 12);
    words(packet.destination).copy(head, 16);
    head.writeUInt16BE(checksum(head), 10);
    return Buffer.concat([head, body]);
  }
  const head = Buffer.alloc(40);
  head.writeUInt16BE(0x6000 | (dscp << 6), 0);
  head.writeUInt16BE(body.length, 4);
  head[6] = packet.protocol;
  head[7] = 64;
  words(packet.source).copy(head, 8);
  words(packet.destination).copy(head, 24);
  return Buffer.concat([head, body]);
}

function line(through: Forwarder, packet: Packet, number: number, tcpFlags: number): string {
  const leg = (name: string): number => LEGS.indexOf(name as (typeof LEGS)[number]);
  const way = packet.path === 'to' ? LOCAL : leg(packet.outInterface) + 1;
  const dscp = way + (packet.state === 'untracked' ? UNTRACKED : 0);
  const bytes = ipPacket(packet, number, dscp, tcpFlags);
  if (packet.path === 'from') return `out${packet.family} ${way} ${bytes.toString('hex')}`;
  const type = packet.family === 4 ? '0800' : '86dd';
  return `${leg(packet.inInterface)} ${through.hardwareAddress(leg(packet.inInterface))}020000000099${type}${bytes.toString('hex')}`;
}

/** The line that sends the packet itself. */
export function sendLine(through: Forwarder, packet: Packet, number: number): string {
  const flags = { established: SYN | ACK, invalid: SYN | FIN }[packet.state as string] ?? SYN;
  return line(through, packet, number, flags);
}

/** The UDP packet that an error is about; it opened the connection that the error is related to. */
function quotedBy(packet: Packet, number: number): Packet {
  return {
    ...reversed(packet),
    protocol: 17,
    sourcePort: 20_000 + (number % 40_000),
    destinationPort: 33_434,
  };
}

/** The same connection the other way round, as new. */
function reversed(packet: Packet): Packet {
  return {
    ...packet,
    path: packet.path === 'to' ? 'from' : packet.path === 'from' ? 'to' : 'through',
    inInterface: packet.outInterface,
    outInterface: packet.inInterface,
    source: packet.destination,
    destination: packet.source,
    sourcePort: packet.destinationPort ?? 0,
    destinationPort: packet.sourcePort ?? 0,
    icmpType: packet.family === 4 ? 8 : 128,
    state: 'new',
  };
}

/** The line that opens the connection an established or related packet belongs to; null for other packets. */
export function openerLine(through: Forwarder, packet: Packet, number: number): string | null {
  if (packet.state === 'related') return line(through, quotedBy(packet, number), number, SYN);
  return packet.state === 'established' ? line(through, reversed(packet), number, SYN) : null;
}

/** Which packet arrived, and as what; null for traffic that is none of ours. */
export function recognise(
  bytes: Buffer,
  family: 4 | 6,
  bare: boolean,
): { number: number; answer: boolean } | null {
  const header = bare ? 0 : family === 4 ? 20 : 40;
  const protocol = bare ? -1 : family === 4 ? bytes[9]! : bytes[6]!;
  if (protocol === 6 && (bytes[header + 13]! & 4) !== 0) {
    const flags = bytes[header + 13]!;
    const at = bytes.readUInt32BE(header + ((flags & ACK) !== 0 ? 8 : 4));
    return { number: (at - BASE) >>> 4, answer: true };
  }
  const at = bytes.length - 8;
  if (at < 0 || bytes.readUInt32BE(at) !== MAGIC) return null;
  const type = bytes[header];
  const answer = (protocol === 1 && type === 3) || (protocol === 58 && type === 1);
  return { number: bytes.readUInt32BE(at + 4), answer };
}

/** Source, destination and ports of an arrived packet, as it then was. */
export function endpointsOf(
  bytes: Buffer,
  family: 4 | 6,
): { source: number[]; destination: number[]; ports: number[] } {
  const read = (at: number): number[] =>
    Array.from({ length: family === 4 ? 1 : 4 }, (_, i) => bytes.readUInt32BE(at + i * 4));
  const header = family === 4 ? 20 : 40;
  return {
    source: read(family === 4 ? 12 : 8),
    destination: read(family === 4 ? 16 : 24),
    ports: [bytes.readUInt16BE(header), bytes.readUInt16BE(header + 2)],
  };
}
