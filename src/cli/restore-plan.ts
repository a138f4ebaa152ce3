import { endsOfTheWay, type PlannedDevice, planWhole, type Reading } from '#runs';
import type { CliContext } from './context.ts';
import { plansText, shownPlan } from './graft-plan-text.ts';
import { plannedData } from './graft-record.ts';

/** What bringing a whole capture onto a device would change, by the device's last capture; null when it has none. */
export async function restorePlan(
  context: CliContext,
  name: string,
  capture: string,
  reading: Reading,
): Promise<{ readonly data: unknown; readonly text: string } | null> {
  const { store, archive, runs } = await context.workbench();
  const device = await store.devices.get(name);
  const last = (await archive.list(name)).at(-1);
  if (last === undefined) return null;
  const plan = planWhole((await archive.get(capture)).files, {
    device,
    files: (await archive.get(last.id)).files,
    facts: await runs.deviceFacts(device),
    fill: () => undefined,
    promises: [],
    way: await endsOfTheWay(device),
    reading,
  });
  const planned: PlannedDevice = { device: name, capture: last, plan };
  return { data: plannedData(planned), text: plansText([shownPlan(planned)]) };
}
