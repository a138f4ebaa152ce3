/**
 * The one error base. Every error a user can meet has a code (it starts with the room's name), one sentence,
 * the place it is about and the error that caused it. This room must never import another.
 */
export { codeOf, type Place, TuckpointError, type TuckpointErrorOptions } from './tuckpoint-error.ts';
