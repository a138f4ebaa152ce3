/**
 * Links: the ways to devices. A link is driven by a handbook over SSH; SNMP adds to its readings. Each way is a folder;
 * `port` says what every link must do.
 * This room must never decide what should be done to a device, nor keep anything: pins and secrets come from the caller.
 */
export type { Trace } from './driven/index.ts';
export { type LinkErrorCode, mayPass, type PassingLinkErrorCode } from './errors.ts';
export { factsOf, type Handbook, HandbookError, parseHandbook } from './handbook/index.ts';
export { type LinkSecrets, type LinkSurroundings, type LinkTarget, openLink } from './open-link.ts';
export { readHandbook } from './read-handbook.ts';
export { type RetryOptions, withRetry } from './retry.ts';
export { type TriedAction, tryHandbook } from './try-handbook.ts';
