import { createHmac, hkdfSync } from 'node:crypto';
import type { Stanza } from 'age-encryption';

/** Bytes of a stanza's body that stand on one line. */
const LINE = 48;

/** Base64 as age writes it: without padding. */
const base64 = (bytes: Buffer) => bytes.toString('base64').replace(/=+$/, '');

/** Arguments, then the body in lines; the last is shorter than the others, if need be empty. */
function linesOf({ args, body }: Stanza): string[] {
  const lines = [`-> ${args.join(' ')}`];
  for (let at = 0; at <= body.length; at += LINE)
    lines.push(base64(Buffer.from(body.subarray(at, at + LINE))));
  return lines;
}

/**
 * The header of an age file (C2SP age.md, "Header") with Node's own cryptography: the package makes one only together with
 * a payload, through streams, in five times as long. Headers are read by the package.
 */
export function sealHeader(fileKey: Uint8Array, stanzas: readonly Stanza[]): Uint8Array {
  const text = ['age-encryption.org/v1', ...stanzas.flatMap(linesOf), '---'].join('\n');
  const key = Buffer.from(hkdfSync('sha256', fileKey, '', 'header', 32));
  return Buffer.from(`${text} ${base64(createHmac('sha256', key).update(text).digest())}\n`);
}
