/**
 * Carries out a handbook's actions over an opened way: the Link that real devices have.
 * It must never know by which protocol the way was opened, nor anything of one kind of device.
 */
export { repliesTo } from './answers.ts';
export { DrivenLink, type DrivenOptions } from './driven-link.ts';
export type { SnmpPart } from './reading.ts';
export type { Trace } from './runner.ts';
