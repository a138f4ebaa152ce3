/**
 * Documents that a user writes (YAML, JSON, comma-separated values), read against a schema: every mistake with its line and field.
 * Pure; it must never open a file, nor know what a document is about.
 */
export { type Mistake, readDocument } from './read-document.ts';
export { readTable, type TableRow } from './read-table.ts';
