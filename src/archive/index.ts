/**
 * Captures at rest: encrypted, in open formats, verified before they are acknowledged.
 * It must never know how a capture came, nor read a configuration.
 */
export { type ArchiveOptions, type FolderArchive, insideOf, openArchive } from './archive.ts';
export { configurationDigest } from './digest.ts';
export type { ArchiveError, ArchiveErrorCode } from './errors.ts';
export type { Inside } from './inside.ts';
export { applyRetention, deleteCaptures, nameCapture, previewRetention } from './keeping.ts';
export { type ArchiveKey, freshKey, keyOf, type Sealer, sealer } from './key.ts';
export {
  addUnlock,
  createKey,
  hasKey,
  LOSING_THE_KEY,
  makeRecoveryKey,
  readKeyFile,
  rotateKey,
  type Unlock,
  unlockFrom,
  unlockKey,
  type Way,
} from './key-ring.ts';
export { checkName } from './names.ts';
export { tidy } from './packing.ts';
export type { Archive, Capture, CaptureFile, CaptureRecord, CaptureSource, NewCapture } from './port.ts';
export { type DeviceStanding, noteProof, noteVerified, standing } from './proof.ts';
export { type ReindexReport, reindexArchive } from './reindex.ts';
export {
  folderStore,
  memoryStore,
  pacedStore,
  type ReplicaStore,
  type ReplicateReport,
  replicate,
  restoreReplica,
  type S3Options,
  s3Store,
} from './replica/index.ts';
export { type KeepDecision, type KeepRules, planRetention } from './retention.ts';
export { type RewrapReport, rewrapArchive } from './rewrap.ts';
export { type Due, due, lateSince, type Recurrence } from './schedule.ts';
export { exportCapture, type For, importCapture, type With } from './sharing.ts';
export { stayLean } from './spent.ts';
export { type VerifyReport, verifyArchive } from './verify.ts';
