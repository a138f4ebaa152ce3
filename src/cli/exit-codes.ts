import { codeOf } from '#core/errors';

/** What the exit codes of every command mean. */
export const ExitCode = {
  /** Done; for a comparison: equal; for a run: kept. */
  ok: 0,
  /** Done, and the answer is "different", "worse" or "went back". */
  different: 1,
  /** Could not decide; for a run: stopped, and asks a person. */
  undecided: 2,
  /** The input or the command is wrong; nothing was touched. */
  badInput: 3,
  /** The device, the link to it or the disk failed. */
  failed: 4,
  /** Another run is at work on the device. */
  busy: 5,
  /** A fault in Tuckpoint itself. */
  fault: 70,
} as const;

/** Rooms whose errors speak of what the user gave; all others of what failed on the way. */
const INPUT_ROOMS = ['cli', 'dialects', 'config', 'traffic', 'release', 'address', 'slots', 'casefile'];
const INPUT_CODES = new Set([
  'links/handbook',
  'links/cannot-read',
  'links/not-in-handbook',
  'links/missing-secret',
  'links/missing-value',
  'store/unknown-device',
  'store/unknown-run',
  'store/unknown-access',
  'store/key-taken',
  'store/only-delivers',
  'server/bad-key',
  'server/bad-certificate',
  'archive/unknown-capture',
  'archive/bad-capture',
  'archive/bad-name',
  'archive/no-key',
  'archive/wrong-key',
  'archive/bad-key',
  'archive/bad-recurrence',
  'archive/bad-rule',
  'archive/protected',
  'archive/bad-import',
  'archive/not-an-archive',
  'links/refused',
  'runs/refused',
  'runs/changed-since-planned',
  'runs/unfinished',
  'runs/ended',
]);

export function exitCodeOf(error: unknown): number {
  const code = codeOf(error);
  return code === undefined ? ExitCode.fault : exitCodeFor(code);
}

/** The exit code for an error's code (`room/what`). */
export function exitCodeFor(code: string): number {
  if (code === 'store/device-busy') return ExitCode.busy;
  if (INPUT_CODES.has(code) || INPUT_ROOMS.includes(code.split('/')[0] ?? '')) return ExitCode.badInput;
  return ExitCode.failed;
}
