/**
 * Documents that a user writes (YAML or JSON), read against a schema: every mistake with its line and field.
 * Pure; it must never open a file, nor know what a document is about.
 */
export { type Mistake, readDocument } from './read-document.ts';
