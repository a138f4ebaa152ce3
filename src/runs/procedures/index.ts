import type { Procedure } from '../step.ts';
import {
  bootSlot,
  captureDevice,
  keepSlot,
  readDevice,
  recoverSlot,
  restartDevice,
  restore,
  roundOfOne,
  shutdownDevice,
} from './simple.ts';
import { update } from './update.ts';

/** Every procedure by the name a run is journaled under. */
export const procedures = {
  update,
  boot: bootSlot,
  restart: restartDevice,
  shutdown: shutdownDevice,
  keep: keepSlot,
  recover: recoverSlot,
  capture: captureDevice,
  reading: readDevice,
  round: roundOfOne,
  restore,
} as const satisfies Record<string, Procedure>;

export type ProcedureName = keyof typeof procedures;
