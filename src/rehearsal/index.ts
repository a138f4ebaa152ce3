/**
 * Proving a capture by use: opened, its digests compared, read by its dialect, and where the kernel here can load its
 * language, loaded for real in a network namespace of its own. It must never touch the packet filter of the machine it
 * runs on, nor put the content of a capture on a disk in clear.
 */
export { type Loaded, loadNftables, whyNoLoad } from './load.ts';
export { loadCapture, type Rehearsal, rehearse } from './rehearse.ts';
