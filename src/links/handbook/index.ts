/**
 * Handbooks: how one kind of device is operated, as YAML. Reads and checks them, and reads the outputs of their
 * commands into identities, slots and readings. Pure: it must never run a command or open a file.
 */
export type { Actions, ReadingAction, Take, TransferAction } from './actions.ts';
export { factsOf } from './facts.ts';
export { matchesAny } from './glob.ts';
export { identityFrom, Missing, noSlots, readSlots, slotsFrom } from './observe.ts';
export { HandbookError, parseHandbook } from './parse.ts';
export { compilePattern, type Pattern } from './pattern.ts';
export { fill, placeholdersOf } from './placeholder.ts';
export { firstMatch, linesOf, type Match, readFields, readRows, splitFiles } from './read-output.ts';
export type { Handbook, Mode, ShellSession } from './schema.ts';
export type { Answer, ByteUnit, Transport } from './steps.ts';
