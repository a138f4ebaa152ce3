import { createHash, randomBytes } from 'node:crypto';

/** A token that lets one device deliver: 256 random bits in letters that any form and address takes. */
export function freshToken(): string {
  return randomBytes(32).toString('base64url');
}

/**
 * What is kept of a token: its SHA-256, hex. A token has 256 bits, so nothing slower is needed; and looking it up by
 * digest tells nothing by the time it takes.
 */
export function tokenDigest(token: string): string {
  return createHash('sha256').update(token).digest('hex');
}

/** The token in an Authorization header: Bearer (RFC 6750) or the password of Basic (RFC 7617; any user name). */
export function tokenIn(authorization: string | undefined): string | null {
  const [scheme = '', rest = ''] = (authorization ?? '').split(/ +/, 2);
  if (scheme.toLowerCase() === 'bearer') return rest === '' ? null : rest;
  if (scheme.toLowerCase() !== 'basic') return null;
  const pair = Buffer.from(rest, 'base64').toString();
  const colon = pair.indexOf(':');
  return colon === -1 || colon === pair.length - 1 ? null : pair.slice(colon + 1);
}
