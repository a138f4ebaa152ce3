import { TuckpointError } from '#core/errors';
import type { Packet } from './packet.ts';
import { readPacket } from './packet-record.ts';
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
const EXAMPLE = 'Write for example: through in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 tcp port=22 new';

/**
 * A packet as a person types it: JSON, or words such as
 * `through in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 tcp port=22 new`; without a protocol it is TCP.
 * @throws TuckpointError `traffic/bad-packet`, with the field in its place.
 */
export function typedPacket(text: string): Packet {
  if (text.trimStart().startsWith('{')) return readPacket(json(text));
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
