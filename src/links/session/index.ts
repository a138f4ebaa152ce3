/**
 * What a way to a device can do, whatever it is made of: give commands, move files, offer something to pull.
 * It must never know what a command means.
 */
export { noSpace } from './no-space.ts';
export type { Command, Output, Reply, Session } from './session.ts';
export type { Offered, Way } from './way.ts';
