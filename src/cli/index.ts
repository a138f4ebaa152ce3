/**
 * The command line: one file per command, text and JSON output side by side.
 * It must never compute what a core room computes, nor reach a device but through a run or a reading.
 */
export type { CliContext, Workbench } from './context.ts';
export { ExitCode, exitCodeOf } from './exit-codes.ts';
export { type Output, terminalOutput } from './output.ts';
export { passphraseFrom } from './passphrase.ts';
export { buildProgram } from './program.ts';
