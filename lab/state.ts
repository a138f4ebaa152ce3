import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Access } from './configuration/files.ts';
import { labError } from './errors.ts';

/** What a later call must know to reach or remove a lab; written before anything else is made. */
export interface LabState {
  /** Number of the lab on this machine; names of namespaces and addresses follow from it. */
  readonly lab: number;
  readonly count: number;
  /** Seconds after which a gateway's boot loader gives up on a boot by itself; 0 is never. */
  readonly watchdogSeconds: number;
  readonly access: Access;
}

/** The folder a lab lives in unless `--dir` says otherwise. */
export const DEFAULT_DIR = join(tmpdir(), 'tuckpoint-lab');

const file = (dir: string) => join(dir, 'state.json');

export const hasState = (dir: string): boolean => existsSync(file(dir));

/** Throws `lab/no-lab` when no lab lives in the folder. */
export function readState(dir: string): LabState {
  if (!hasState(dir))
    throw labError('lab/no-lab', `No lab lives in ${dir}.`, { advice: 'Start one: npm run lab -- up 3.' });
  try {
    return JSON.parse(readFileSync(file(dir), 'utf8')) as LabState;
  } catch (cause) {
    throw labError('lab/no-lab', `The state of the lab in ${dir} cannot be read.`, {
      place: { file: file(dir) },
      advice: 'Remove the folder and what "ip netns list" shows of it by hand.',
      cause,
    });
  }
}

export function writeState(dir: string, state: LabState): void {
  writeFileSync(`${file(dir)}.new`, `${JSON.stringify(state, null, 2)}\n`, { mode: 0o600 });
  renameSync(`${file(dir)}.new`, file(dir));
}
