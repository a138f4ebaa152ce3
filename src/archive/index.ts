/**
 * Captures at rest: encrypted, in open formats, verified before they are acknowledged.
 * It must never know how a capture came, nor read a configuration.
 */
export { type ArchiveOptions, type FolderArchive, openArchive } from './archive.ts';
export { configurationDigest } from './digest.ts';
export type { ArchiveError, ArchiveErrorCode } from './errors.ts';
export type { Inside } from './inside.ts';
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
export { tidy } from './packing.ts';
export type { Archive, Capture, CaptureFile, CaptureRecord, CaptureSource, NewCapture } from './port.ts';
export { type ReindexReport, reindexArchive } from './reindex.ts';
export { type VerifyReport, verifyArchive } from './verify.ts';
