/**
 * Deliveries by SFTP: devices put files, and that is all anyone can do here. It must never give a file back, list
 * one, or run a command.
 */
export { fingerprintOf, freshHostKey, keyDigest } from './keys.ts';
export { type Drop, type DropOptions, openDrop } from './server.ts';
