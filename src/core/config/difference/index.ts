/**
 * Object difference: which objects of a configuration were added, removed, changed, moved or renamed.
 * Pure; it must never say what a change does to traffic: #core/traffic proves that.
 */
export { compareConfigurations, type ObjectChange, type ObjectDifference } from './compare.ts';
export { type ChangeGroup, groupChanges } from './groups.ts';
export type { OpaqueChange } from './opaque.ts';
export { canonical, type FieldChange, fieldChanges } from './value.ts';
