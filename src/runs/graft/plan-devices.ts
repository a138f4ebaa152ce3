import type { CaptureRecord } from '#archive';
import type { TrafficPromise } from '#core/traffic';
import type { RunEnvironment } from '../environment.ts';
import { endsOfTheWay } from '../promises/way-in.ts';
import type { FillIns } from './fill-in-file.ts';
import type { GraftTarget } from './graft-target.ts';
import type { PreparedGraft } from './prepared-graft.ts';
import { planTarget, type TargetPlan } from './target-plan.ts';

/** What of a graft concerns the devices rather than what is carried. */
export interface OntoDevices {
  readonly fillIns: FillIns;
  readonly promises: readonly TrafficPromise[];
  readonly mayBreak: boolean;
  readonly reading?: GraftTarget['reading'];
}

/** A device with its plan, or why there is none. */
export type PlannedDevice =
  | { readonly device: string; readonly capture: CaptureRecord; readonly plan: TargetPlan }
  | { readonly device: string; readonly capture: null; readonly plan: null; readonly why: string };

/**
 * Plans a graft for a device by its last capture; the device itself is not asked.
 * @throws store and archive errors; `links/…` for a handbook that cannot be read.
 */
export async function planForDevice(
  environment: RunEnvironment,
  graft: PreparedGraft,
  name: string,
  onto: OntoDevices,
): Promise<PlannedDevice> {
  const { store, archive } = environment;
  const device = await store.devices.get(name);
  const capture = (await archive.list(name)).at(-1);
  if (capture === undefined) {
    const why = `The archive holds no capture of ${name}. Take one with "tuckpoint capture ${name}".`;
    return { device: name, capture: null, plan: null, why };
  }
  const plan = planTarget(graft, {
    device,
    files: (await archive.get(capture.id)).files,
    facts: await environment.deviceFacts(device),
    fill: (placeholder) => onto.fillIns.valueFor(device, placeholder),
    promises: onto.promises,
    way: await endsOfTheWay(device),
    mayBreak: onto.mayBreak,
    ...(onto.reading === undefined ? {} : { reading: onto.reading }),
  });
  return { device: name, capture, plan };
}
