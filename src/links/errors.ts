import { type Place, TuckpointError } from '#core/errors';

/** Errors that may pass when the same call is made again later. */
export type PassingLinkErrorCode =
  /** Nothing answers at the address, or it answers no SSH. */
  | 'links/unreachable'
  /** No answer within the time limit; the order may have taken effect. */
  | 'links/timeout'
  /** The device or the network ended the connection in mid-call. */
  | 'links/closed';

/** All errors of a way to a device; those that are not passing stay until a person changes something. */
export type LinkErrorCode =
  | PassingLinkErrorCode
  /** The handbook has mistakes. */
  | 'links/handbook'
  /** The handbook does not say how to do what was asked. */
  | 'links/not-in-handbook'
  /** User, key, password or SNMP access data were not accepted. */
  | 'links/auth'
  /** A secret that the handbook asks for is not kept with the device. */
  | 'links/missing-secret'
  /** A value of the device's own entry that the handbook asks for is not there. */
  | 'links/missing-value'
  /** The device shows another host key than the pinned one. */
  | 'links/host-key-changed'
  /** Workbench and device have no common algorithm or protocol version. */
  | 'links/no-common-algorithm'
  /** The device refused a command; the message holds its own words. */
  | 'links/refused'
  /** An output did not hold what the handbook expects. */
  | 'links/unreadable-output'
  /** The device's digest of a transferred file is not the file's. */
  | 'links/digest-mismatch'
  | 'links/no-space'
  /** A file could not be moved to or from the device. */
  | 'links/transfer-failed'
  /** A name that must not reach a command line or a path of the device. */
  | 'links/unsafe-name'
  /** A file on the workbench cannot be read. */
  | 'links/cannot-read';

export interface LinkErrorOptions {
  readonly advice?: string;
  readonly cause?: unknown;
  readonly place?: Place;
}

export function linkError(
  code: LinkErrorCode,
  message: string,
  options: LinkErrorOptions = {},
): TuckpointError<LinkErrorCode> {
  return new TuckpointError(code, message, options);
}

const PASSING: ReadonlySet<string> = new Set<PassingLinkErrorCode>([
  'links/unreachable',
  'links/timeout',
  'links/closed',
]);

/** May the same call succeed later, with nothing changed by a person? */
export function mayPass(error: unknown): boolean {
  return error instanceof TuckpointError && PASSING.has(error.code);
}
