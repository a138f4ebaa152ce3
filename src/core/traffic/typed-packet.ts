import { TuckpointError } from '#core/errors';
import type { Packet } from './packet.ts';
import { readPacket } from './packet-record.ts';
import type { Path } from './policy.ts';
import { protocolNumber } from './words.ts';

/** Short words a person may type before `=`, and the field each means. */
const SHORT: Readonly<Record<string, string>> = {
  in: 'inInterface',
  out: 'outInterface',
  from: 'source',
  to: 'destination',
  port: 'destinationPort',
  'source-port': 'sourcePort',
  code: 'icmpCode',
};
const NUMBERS = ['sourcePort', 'destinationPort', 'icmpCode'];
const PATHS = ['through', 'to', 'from'];
const STATES = ['new', 'established', 'related', 'invalid', 'untracked'];
const EXAMPLE =
  'Write for example: through in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 tcp port=22 new, or tcp 192.0.2.1:40000 on wan0 -> 10.4.0.1:22 on tick0';

/**
 * A packet as a person types it: JSON; or words such as
 * `through in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 tcp port=22 new`, without a protocol TCP; or as answers print one,
 * `tcp 192.0.2.1:40000 on wan0 -> 10.4.0.1:22 on tick0, new`, which is to the device where only the arrival has an
 * interface, and from it where only the departure has one.
 * @throws TuckpointError `traffic/bad-packet`, with the field in its place.
 */
export function typedPacket(text: string): Packet {
  if (text.trimStart().startsWith('{')) return readPacket(json(text));
  if (text.includes('->')) return readPacket(printed(text));
  const fields: Record<string, unknown> = { protocol: 'tcp' };
  for (const word of text.split(/\s+/).filter((w) => w !== '')) {
    const at = word.indexOf('=');
    if (at > 0) {
      const field = SHORT[word.slice(0, at)] ?? word.slice(0, at);
      const value = word.slice(at + 1);
      fields[field] = NUMBERS.includes(field) && /^\d+$/.test(value) ? Number(value) : value;
    } else if (PATHS.includes(word)) fields.path = word;
    else if (STATES.includes(word)) fields.state = word;
    else if (protocolNumber(word) !== undefined) fields.protocol = word;
    else {
      throw new TuckpointError('traffic/bad-packet', `"${word}" says nothing of a packet.`, {
        place: { field: word },
        advice: `${EXAMPLE}.`,
      });
    }
  }
  return readPacket(fields);
}

/** The fields of a packet in the form that `packetText` prints. */
function printed(text: string): Record<string, unknown> {
  const [, packet = '', conditions] = /^(.*?)(?:,\s*with\s+(.*))?$/s.exec(text)!;
  const [ends = '', state] = packet.split(',').map((part) => part.trim());
  const [departure = '', arrival = ''] = ends.split('->');
  const from = endOf(departure);
  const to = endOf(arrival);
  const [protocol, ...icmp] = from.before;
  const code = icmp.indexOf('code');
  return {
    path: pathOf(from.name, to.name),
    protocol,
    ...(icmp.length > 0 && { icmp: (code < 0 ? icmp : icmp.slice(0, code)).join(' ') }),
    ...(code >= 0 && { icmpCode: Number(icmp[code + 1]) }),
    source: from.address,
    sourcePort: from.port,
    inInterface: from.name,
    destination: to.address,
    destinationPort: to.port,
    outInterface: to.name,
    ...(state !== undefined && { state }),
    ...(conditions !== undefined && { conditions: conditions.split(' and ') }),
  };
}

function pathOf(arrivesOn: string | undefined, leavesOn: string | undefined): Path {
  if (arrivesOn !== undefined && leavesOn === undefined) return 'to';
  return arrivesOn === undefined && leavesOn !== undefined ? 'from' : 'through';
}

/** `tcp 192.0.2.1:40000 on wan0`: the address, its port and interface, and the words before it. */
function endOf(text: string) {
  const words = text.split(/\s+/).filter((word) => word !== '');
  const name = words.at(-2) === 'on' ? words.splice(-2)[1] : undefined;
  const end = words.pop() ?? '';
  const withPort = /^\[(.*)\]:(\d+)$/.exec(end) ?? /^([^:]*):(\d+)$/.exec(end);
  return {
    before: words,
    name,
    address: withPort?.[1] ?? end,
    port: withPort === null ? undefined : Number(withPort[2]),
  };
}

function json(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new TuckpointError('traffic/bad-packet', 'The packet is not JSON.', {
      cause,
      advice: `${EXAMPLE}.`,
    });
  }
}
