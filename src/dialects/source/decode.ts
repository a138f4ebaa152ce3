import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';

/** Files above this size are refused: a configuration of 64 MiB is a mistake, and memory must stay bounded. */
export const LARGEST_FILE = 64 * 1024 * 1024;

const line = (bytes: Uint8Array, upTo: number): number => {
  let count = 1;
  for (let i = 0; i < upTo; i++) if (bytes[i] === 10) count++;
  return count;
};

/** Length of the valid UTF-8 sequence at `at` (RFC 3629, section 4), or 0 when there is none. */
function sequenceLength(bytes: Uint8Array, at: number): number {
  const lead = bytes[at]!;
  if (lead < 0x80) return 1;
  const second = bytes[at + 1] ?? 0;
  const follows = (n: number) => ((bytes[at + n] ?? 0) & 0xc0) === 0x80;
  if (lead >= 0xc2 && lead <= 0xdf) return follows(1) ? 2 : 0;
  if (lead >= 0xe0 && lead <= 0xef) {
    if (!follows(1) || !follows(2)) return 0;
    return (lead === 0xe0 && second < 0xa0) || (lead === 0xed && second > 0x9f) ? 0 : 3;
  }
  if (lead >= 0xf0 && lead <= 0xf4) {
    if (!follows(1) || !follows(2) || !follows(3)) return 0;
    return (lead === 0xf0 && second < 0x90) || (lead === 0xf4 && second > 0x8f) ? 0 : 4;
  }
  return 0;
}

/**
 * A captured file as text. Strict UTF-8; a UTF-8 byte order mark stays as the first character, so that
 * {@link encode} gives the same bytes back.
 * @throws TuckpointError `dialects/too-large`, `dialects/encoding`, with file and line.
 */
export function decode(name: string, bytes: Uint8Array): SourceFile {
  if (bytes.length > LARGEST_FILE) {
    throw new TuckpointError(
      'dialects/too-large',
      `The file has ${bytes.length} bytes; configurations up to ${LARGEST_FILE} bytes are read.`,
      { place: { file: name }, advice: 'Check that this is a configuration and not an image or a log.' },
    );
  }
  const [a, b] = bytes;
  if ((a === 0xff && b === 0xfe) || (a === 0xfe && b === 0xff)) {
    throw new TuckpointError('dialects/encoding', 'The file is UTF-16 text; only UTF-8 is read.', {
      place: { file: name, line: 1 },
      advice: 'Save it as UTF-8, or check how it was copied from the device.',
    });
  }
  const zero = bytes.indexOf(0);
  if (zero >= 0) {
    throw new TuckpointError('dialects/encoding', 'The file holds a NUL byte, so it is not text.', {
      place: { file: name, line: line(bytes, zero) },
      advice: 'Check that this is a configuration file and that its transfer was complete.',
    });
  }
  try {
    return { name, text: new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes) };
  } catch (cause) {
    let at = 0;
    for (let length = 1; at < bytes.length; at += length) {
      length = sequenceLength(bytes, at);
      if (length === 0) break;
    }
    throw new TuckpointError('dialects/encoding', 'The file is not valid UTF-8.', {
      place: { file: name, line: line(bytes, at) },
      advice: 'Save it as UTF-8, or check how it was copied from the device.',
      cause,
    });
  }
}

/** The bytes of a file. `encode(decode(name, bytes))` equals `bytes`. */
export function encode(file: SourceFile): Uint8Array {
  return new TextEncoder().encode(file.text);
}
