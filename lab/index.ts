/**
 * The lab: real gateways in Linux network namespaces, for tests and for trying things. Each has real rules, a real
 * sshd and snmpd, two boot slots on a disk of its own, and hosts behind its legs. It needs Linux and root.
 *
 * This room must never touch the machine's own rules, addresses or programs beyond the namespaces and the folder
 * it made, and never be imported by anything under src/: Tuckpoint operates a lab gateway by its handbook alone.
 */
export { Gateway, Host } from './gateway.ts';
export type { ImageFault } from './images/fault.ts';
export type { Image } from './images/image.ts';
export type { ReleaseOptions } from './images/release.ts';
export { FACTORY_RUNNING, FACTORY_SPARE, Lab, type LabOptions, openLab, startLab, stopLab } from './lab.ts';
export type { Leg } from './plan.ts';
export { type Entry, entryOf, type Reach } from './reach.ts';
export { whyNoLab } from './requirements.ts';
