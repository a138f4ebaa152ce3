import type { DeviceFacts } from '../port/index.ts';
import { matchesAny } from './glob.ts';
import type { Handbook } from './schema.ts';

/** What a handbook says of its kind of device, for planning. */
export function factsOf(handbook: Handbook): DeviceFacts {
  const { actions, limits } = handbook;
  return {
    kind: {
      slots: handbook.slots,
      installWrites: handbook.install.writes,
      spareConfiguration: handbook.install.spareConfiguration,
      writesWhole: handbook.writesWhole,
    },
    applyNeedsRestart: (files) => files.some((file) => matchesAny(file, handbook.restart.afterApply)),
    canCaptureSpare: actions.capture.spare !== undefined,
    canArmReturn: actions.armReturn !== undefined,
    canReport: actions.report !== undefined,
    limits: {
      commandSeconds: limits.command,
      transferSeconds: limits.transfer,
      installSeconds: limits.install,
      bootSeconds: limits.boot,
    },
  };
}
