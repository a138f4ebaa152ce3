import { familyOf, parseAddress } from '#core/address';
import { TuckpointError } from '#core/errors';
import { hasPorts, type Packet } from '../packet.ts';
import type { ConnectionState, Path } from '../policy.ts';
import { icmpTypeOf, protocolOf } from './protocols.ts';

const STATES: readonly ConnectionState[] = ['new', 'established', 'related', 'invalid', 'untracked'];
const PATHS: readonly Path[] = ['through', 'to', 'from'];

/** Short words a person may type in `key=value`, and the field each means. */
const SHORT: Readonly<Record<string, string>> = {
  in: 'inInterface',
  out: 'outInterface',
  from: 'source',
  to: 'destination',
  src: 'source',
  dst: 'destination',
  proto: 'protocol',
  port: 'destinationPort',
  dport: 'destinationPort',
  sport: 'sourcePort',
  icmp: 'icmpType',
  code: 'icmpCode',
};

const FIELDS = new Set([
  'path',
  'family',
  'inInterface',
  'outInterface',
  'source',
  'destination',
  'protocol',
  'sourcePort',
  'destinationPort',
  'icmpType',
  'icmpCode',
  'state',
  'conditions',
]);

/**
 * A packet from named fields, as `PacketWords` or parsed JSON has them. Only `source` and `destination` must be there:
 * the path is `through`, the protocol `tcp`, the state `new`, ports and codes 0, interfaces without a name.
 * Fields that are not known are ignored when `lenient` (an id, an expectation), refused otherwise.
 * @throws TuckpointError `traffic/packet` that names the field.
 */
export function packetOf(fields: Readonly<Record<string, unknown>>, lenient = false): Packet {
  const stranger = Object.keys(fields).find((name) => !FIELDS.has(name));
  if (stranger !== undefined && !lenient) {
    throw wrong(stranger, `A packet has no field "${stranger}"`, `Use ${[...FIELDS].join(', ')}.`);
  }
  const source = addressOf(fields, 'source');
  const destination = addressOf(fields, 'destination');
  const family = familyOf(source);
  if (familyOf(destination) !== family) {
    throw wrong(
      'destination',
      'Source and destination are of different IP versions',
      'Give two of one version.',
    );
  }
  const protocolWord = String(fields.protocol ?? 'tcp');
  const protocol = protocolOf(protocolWord);
  if (protocol === undefined)
    throw wrong('protocol', `"${protocolWord}" is no protocol`, 'Use a name such as tcp, or 0 to 255.');
  const ports = hasPorts(protocol)
    ? {
        sourcePort: numberOf(fields, 'sourcePort', 65535),
        destinationPort: numberOf(fields, 'destinationPort', 65535),
      }
    : {};
  const icmp =
    protocol === (family === 4 ? 1 : 58)
      ? { icmpType: icmpOf(fields, family), icmpCode: numberOf(fields, 'icmpCode', 255) }
      : {};
  const conditions = fields.conditions;
  if (
    conditions !== undefined &&
    !(Array.isArray(conditions) && conditions.every((c) => typeof c === 'string'))
  ) {
    throw wrong('conditions', 'Conditions are a list of names', 'Give the names as the answer prints them.');
  }
  return {
    path: oneOf(fields, 'path', PATHS, 'through'),
    family,
    inInterface: textOf(fields, 'inInterface'),
    outInterface: textOf(fields, 'outInterface'),
    source,
    destination,
    protocol,
    ...ports,
    ...icmp,
    state: oneOf(fields, 'state', STATES, 'new'),
    ...(conditions === undefined ? {} : { conditions: conditions as string[] }),
  };
}

/**
 * A packet as a person types it: JSON, or words such as
 * `through in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 tcp port=22 state=new`.
 * @throws TuckpointError `traffic/packet`.
 */
export function packetOfText(text: string): Packet {
  if (text.trimStart().startsWith('{')) return packetOf(recordOf(text));
  const fields: Record<string, string> = {};
  for (const word of text.split(/\s+/).filter((w) => w !== '')) {
    const at = word.indexOf('=');
    if (at > 0) {
      const key = word.slice(0, at);
      fields[SHORT[key] ?? key] = word.slice(at + 1);
    } else if ((PATHS as readonly string[]).includes(word)) fields.path = word;
    else if ((STATES as readonly string[]).includes(word)) fields.state = word;
    else if (protocolOf(word) !== undefined) fields.protocol = word;
    else
      throw wrong(
        word,
        `"${word}" says nothing of a packet`,
        'Write for example: through in=wan0 from=192.0.2.1 to=10.4.0.1 tcp port=22 state=new',
      );
  }
  return packetOf(fields);
}

function recordOf(text: string): Record<string, unknown> {
  try {
    const value: unknown = JSON.parse(text);
    if (typeof value === 'object' && value !== null && !Array.isArray(value))
      return value as Record<string, unknown>;
  } catch (cause) {
    throw new TuckpointError('traffic/packet', 'The packet is not JSON.', {
      cause,
      advice: 'Close every quote and brace.',
    });
  }
  throw wrong('(packet)', 'A packet is an object of named fields', 'Write {"source": …, "destination": …}.');
}

function addressOf(fields: Readonly<Record<string, unknown>>, field: string) {
  const value = fields[field];
  const address = typeof value === 'string' ? parseAddress(value) : undefined;
  if (address === undefined) {
    throw wrong(
      field,
      `${value === undefined ? 'Nothing' : `"${String(value)}"`} is no IP address`,
      'Give one address, such as 192.0.2.1.',
    );
  }
  return address;
}

function numberOf(fields: Readonly<Record<string, unknown>>, field: string, most: number): number {
  const value = Number(fields[field] ?? 0);
  if (Number.isInteger(value) && value >= 0 && value <= most) return value;
  throw wrong(field, `"${String(fields[field])}" is no number from 0 to ${most}`, 'Give one number.');
}

function icmpOf(fields: Readonly<Record<string, unknown>>, family: 4 | 6): number {
  const word = String(fields.icmpType ?? 0);
  const type = icmpTypeOf(word, family);
  if (type === undefined)
    throw wrong('icmpType', `"${word}" is no ICMP type`, 'Use a name such as echo-request, or 0 to 255.');
  return type;
}

function textOf(fields: Readonly<Record<string, unknown>>, field: string): string {
  const value = fields[field] ?? '';
  if (typeof value === 'string') return value;
  throw wrong(field, 'An interface is a name', 'Give a text.');
}

function oneOf<T extends string>(
  fields: Readonly<Record<string, unknown>>,
  field: string,
  words: readonly T[],
  otherwise: T,
): T {
  const value = fields[field];
  if (value === undefined) return otherwise;
  const found = words.find((word) => word === value);
  if (found === undefined)
    throw wrong(field, `"${String(value)}" is none of ${words.join(', ')}`, 'Use one of these.');
  return found;
}

function wrong(field: string, message: string, advice: string): TuckpointError {
  return new TuckpointError('traffic/packet', `${message}.`, { place: { field }, advice });
}
