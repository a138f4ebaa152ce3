import { TuckpointError } from '#core/errors';
import { type Pair, type SlotContent, type SlotState, samePair } from './state.ts';

/** The slots as a device shows them: running and next by id; null where the device does not tell. */
export interface ShownSlots {
  readonly slots: readonly (Pair & { readonly id: string })[];
  readonly running: string;
  readonly next: string;
}

/**
 * The slot state of a device as it shows itself, with what is known of it: a pair counts as booted well when exactly
 * this pair is among `knownWell`.
 * @throws TuckpointError `slots/shown` when the running or next slot is not among those shown.
 */
export function observed(shown: ShownSlots, knownWell: readonly Pair[]): SlotState {
  const slots = shown.slots.map(({ id, release, configuration }) => ({
    id,
    release,
    configuration,
    bootedWell: knownWell.some((pair) => samePair(pair, { release, configuration })),
  }));
  return { slots, running: indexOf(shown, shown.running), next: indexOf(shown, shown.next) };
}

export interface Reconciled {
  readonly state: SlotState;
  /** One sentence for each point in which the device shows something else than was predicted. */
  readonly differences: readonly string[];
  /** One sentence for each point the device does not tell, so that the prediction stands unchecked. */
  readonly unchecked: readonly string[];
}

/**
 * Lays what the device shows over what was predicted. What it shows wins; what it does not tell stays as predicted and
 * is named in `unchecked`. A slot that differs from its prediction is not booted well.
 * @throws TuckpointError `slots/shown` when the device shows other slots than predicted.
 */
export function reconcile(predicted: SlotState, shown: ShownSlots): Reconciled {
  const differences: string[] = [];
  const unchecked: string[] = [];
  const slots = predicted.slots.map((slot): SlotContent => {
    const seen = shown.slots.find((s) => s.id === slot.id);
    if (seen === undefined) {
      throw new TuckpointError('slots/shown', `The device no longer shows slot ${slot.id}.`, {
        advice: 'Check how the handbook reads the slots.',
      });
    }
    const field = (what: 'release' | 'configuration'): string | null => {
      if (seen[what] === null) {
        if (slot[what] !== null) unchecked.push(`The device does not tell the ${what} in slot ${slot.id}.`);
        return slot[what];
      }
      if (seen[what] !== slot[what]) {
        differences.push(
          `Slot ${slot.id} holds ${what} ${seen[what]}, not ${slot[what] ?? 'an unknown one'} as predicted.`,
        );
      }
      return seen[what];
    };
    const release = field('release');
    const configuration = field('configuration');
    const asPredicted = release === slot.release && configuration === slot.configuration;
    return { id: slot.id, release, configuration, bootedWell: slot.bootedWell && asPredicted };
  });
  const running = indexOf(shown, shown.running, predicted);
  const next = indexOf(shown, shown.next, predicted);
  if (running !== predicted.running) {
    differences.push(
      `The device runs from slot ${shown.running}, not ${slots[predicted.running]!.id} as predicted.`,
    );
  }
  if (next !== predicted.next) {
    differences.push(
      `The device boots slot ${shown.next} next, not ${slots[predicted.next]!.id} as predicted.`,
    );
  }
  const due = predicted.restartDue === true && running === predicted.running ? { restartDue: true } : {};
  return { state: { slots, running, next, ...due }, differences, unchecked };
}

function indexOf(shown: ShownSlots, id: string, among: { slots: readonly { id: string }[] } = shown): number {
  const index = among.slots.findIndex((slot) => slot.id === id);
  if (index >= 0) return index;
  throw new TuckpointError(
    'slots/shown',
    `The device names slot ${id}, which is not among the slots it shows.`,
    {
      advice: 'Check how the handbook reads the slots.',
    },
  );
}
