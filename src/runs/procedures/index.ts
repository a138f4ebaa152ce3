import type { Procedure } from '../step.ts';
import { graft, restore } from './graft.ts';
import {
  bootSlot,
  captureDevice,
  keepSlot,
  readDevice,
  recoverSlot,
  restartDevice,
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
  graft,
  restore,
} as const satisfies Record<string, Procedure>;

export type ProcedureName = keyof typeof procedures;
