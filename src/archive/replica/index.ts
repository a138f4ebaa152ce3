/** Replicas of an archive: the same encrypted files elsewhere. It must never need the key's secret. */
export { folderStore } from './folder-store.ts';
export { pacedStore } from './paced-store.ts';
export {
  type ReplicateOptions,
  type ReplicateReport,
  replicate,
  restoreReplica,
} from './replicate.ts';
export { type S3Options, s3Store } from './s3-store.ts';
export { memoryStore, type ReplicaStore } from './store.ts';
