/**
 * Captures at rest: encrypted, in open formats, verified before they are acknowledged.
 * It must never know how a capture came, nor read a configuration.
 */
export { type ArchiveOptions, openArchive } from './archive.ts';
export { configurationDigest } from './digest.ts';
export type { ArchiveError, ArchiveErrorCode } from './errors.ts';
export { type ArchiveKey, keyOf, type Sealer, sealer } from './key.ts';
export {
  addUnlock,
  createKey,
  hasKey,
  LOSING_THE_KEY,
  type Unlock,
  unlockFrom,
  unlockKey,
} from './key-ring.ts';
export type { Archive, Capture, CaptureFile, CaptureRecord, CaptureSource, NewCapture } from './port.ts';
