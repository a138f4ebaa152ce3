/**
 * Text of one configuration made fit to stand in another: mentions by their new names, indentation of the new
 * place. Shared by the writers of grafts; it must never know a configuration language.
 */
export { cannotWrite } from './cannot-write.ts';
export { carriedText } from './carried-text.ts';
export { indentAt, indented, lineEnd, lineStart, newlineOf } from './lines.ts';
