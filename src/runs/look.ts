import { configurationDigest } from '#archive';
import { booted, observed, type Pair, type SlotState } from '#core/slots';
import type { Identity, Link, NamedFile } from '#links/port';
import type { Store } from '#store';
import type { Look } from './facts.ts';
import type { RunContext } from './run-context.ts';

/**
 * First look. The pair the device runs from now counts as booted well: it runs, it answers, and every later reading
 * is compared with how it is doing now.
 */
export async function firstSight(
  store: Store,
  device: string,
  link: Link,
  at: string,
  run: string | null,
): Promise<Look> {
  const identity = await link.identify();
  const { state } = await lookAtSlots(link, identity, (pair) =>
    store.observations.hasBootedWell(device, pair),
  );
  const pair = runningPair({ identity, slots: state });
  if (pair !== null) await store.observations.bootedWell(device, pair, at, run);
  const slots = pair === null ? state : booted(state, true);
  const { model, serial, release } = identity;
  await store.observations.sawDevice(device, { at, model, serial, release, slots });
  return { identity, slots };
}

/** Looks at the device: who it is and what its slots hold, with what is known of pairs that booted well here. */
export async function look(run: RunContext): Promise<Look> {
  const link = await run.link();
  const identity = await link.identify();
  const { state } = await lookAtSlots(link, identity, (pair) => knownWell(run, pair));
  const seen = { identity, slots: state };
  await remember(run, seen);
  return seen;
}

/** Keeps a look as the last sighting of the device. */
export async function remember(run: RunContext, { identity, slots }: Look): Promise<void> {
  const { model, serial, release } = identity;
  const { store, now } = run.environment;
  await store.observations.sawDevice(run.device.name, { at: now(), model, serial, release, slots });
}

/**
 * The slots as the device shows them. Configurations are told apart by the digest of what a capture of the slot
 * gives; on a device whose spare cannot be captured, by the digests it reports itself, for both slots.
 */
async function lookAtSlots(
  link: Link,
  identity: Identity,
  isWell: (pair: Pair) => Promise<boolean>,
): Promise<{ state: SlotState; running: readonly NamedFile[] }> {
  const shown = await link.slots();
  const running = await link.capture('running');
  const ours = shown.slots.length === 1 || link.facts.canCaptureSpare;
  const slots = [];
  for (const slot of shown.slots) {
    if (!ours) slots.push(slot);
    else if (slot.id === shown.running) slots.push({ ...slot, configuration: configurationDigest(running) });
    else slots.push({ ...slot, configuration: configurationDigest(await link.capture('spare')) });
  }
  const well: Pair[] = [];
  for (const slot of slots) if (await isWell(slot)) well.push(slot);
  const state = observed({ ...shown, slots }, well);
  const holds = state.slots[state.running]?.release;
  const due = holds !== null && holds !== identity.release;
  return { state: due ? { ...state, restartDue: true } : state, running };
}

/** Does the device still run from this pair, or has it booted well here before? */
async function knownWell(run: RunContext, pair: Pair): Promise<boolean> {
  return run.environment.store.observations.hasBootedWell(run.device.name, pair);
}

/** The pair the device runs from, when it has booted from what the slot holds. */
export function runningPair({ slots }: Look): Pair | null {
  return slots.restartDue === true ? null : (slots.slots[slots.running] ?? null);
}
