/**
 * The typed configuration: objects with identity, place and references, whatever language they were written in,
 * and what is computed from them (difference, dependency closure, graft planning).
 * Pure; it must never know a configuration language: dialects bring objects in and take edits out.
 */
export type { Dialect, Edit } from './dialect.ts';
export * from './difference/index.ts';
export * from './graft/index.ts';
export { type ObjectFinding, objectFindings } from './object-findings.ts';
export { indexReferences, type ReferenceIndex } from './references.ts';
export { SecretHider, withoutSecrets } from './secrets.ts';
export { type SourceFile, type Span, textOf } from './source.ts';
export {
  type ConfigObject,
  type ObjectId,
  type ObjectKind,
  type OpaquePart,
  type Order,
  objectId,
  type Reference,
  type TypedConfiguration,
  type Value,
} from './typed-configuration.ts';
