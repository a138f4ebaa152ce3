/**
 * Walks every state that runs on a device can reach, with a power loss at every instant, and checks after each move
 * what must never be lost. It keeps its own truth beside the flags: what really booted well on this device.
 */
import { after, booted, instants } from './effect.ts';
import { boots, type Operation } from './operation.ts';
import { type Refusal, refusalOf, type Standing } from './refusal.ts';
import { reserveOf } from './reserve.ts';
import { type DeviceKind, type Pair, runningSlot, type SlotState, samePair, withSlot } from './state.ts';

export type Rules = (
  state: SlotState,
  operation: Operation,
  kind: DeviceKind,
  standing: Standing,
) => Refusal | null;

/** A device with what a run holds of it and with what really happened on it. */
export interface Walked {
  readonly state: SlotState;
  /** The reserve of the run under way, or null between runs. */
  readonly reserve: Pair | null;
  /** Every pair that really booted well on this device. */
  readonly proved: readonly Pair[];
}

export interface WalkResult {
  readonly states: number;
  readonly moves: number;
  /** The shortest way found to something that must never be, in words; null when there is none. */
  readonly broken: readonly string[] | null;
}

const RELEASES = ['4.1.0', '4.2.0'];
const CONFIGURATIONS = ['c1', 'c2'];

/** Two-slot or one-slot device in service: the running pair booted well; the spare holds nothing known. */
export function inService(kind: DeviceKind): SlotState {
  const first = { id: '1', release: '4.1.0', configuration: 'c1', bootedWell: true };
  const second = { id: '2', release: null, configuration: null, bootedWell: false };
  return { slots: kind.slots === 1 ? [first] : [first, second], running: 0, next: 0 };
}

/**
 * @param start In service, or any other state whose flags are true.
 * @param standing What one-slot devices have besides; the reserve is the walk's own.
 */
export function walk(
  kind: DeviceKind,
  start: SlotState,
  rules: Rules = refusalOf,
  standing: Standing = { captureVerified: true, oldFirmware: true, word: true },
): WalkResult {
  const proved = start.slots.filter((slot) => slot.bootedWell).map(pairOf);
  const first: Walked = { state: start, reserve: null, proved };
  const from = new Map<string, { readonly before: string | null; readonly move: string }>();
  from.set(key(first), { before: null, move: 'start' });
  let edge = [first];
  let moves = 0;
  while (edge.length > 0) {
    const next: Walked[] = [];
    for (const at of edge) {
      for (const { move, to } of movesFrom(at, kind, rules, standing)) {
        moves++;
        const wrong = wrongWith(to, kind);
        if (from.has(key(to)) && wrong === null) continue;
        if (wrong !== null) return { states: from.size, moves, broken: [...traceOf(from, at), move, wrong] };
        from.set(key(to), { before: key(at), move });
        next.push(to);
      }
    }
    edge = next;
  }
  return { states: from.size, moves, broken: null };
}

interface Move {
  readonly move: string;
  readonly to: Walked;
}

function movesFrom(at: Walked, kind: DeviceKind, rules: Rules, standing: Standing): Move[] {
  const moves: Move[] = [];
  const running = runningSlot(at.state);
  if (at.reserve === null && running.bootedWell) {
    moves.push({ move: 'a run begins', to: { ...at, reserve: reserveOf(at.state) } });
  }
  if (at.reserve !== null && running.bootedWell && at.state.restartDue !== true) {
    moves.push({ move: 'the run decides', to: { ...at, reserve: null } });
  }
  for (const operation of operationsOf(kind)) {
    if (rules(at.state, operation, kind, { ...standing, reserve: at.reserve }) !== null) continue;
    for (const left of instants(at.state, operation, kind)) {
      moves.push(...powerLoss(`power lost during ${operation.name}`, at, left));
    }
    const done = after(at.state, operation, kind);
    if (boots(operation)) moves.push(...bootOutcomes(operation.name, at, done));
    else moves.push({ move: operation.name, to: { ...at, state: done } });
  }
  return moves;
}

/** Power comes back: the device boots the slot set to boot next; where that fails, its loader may take the other. */
function powerLoss(move: string, at: Walked, left: SlotState): Move[] {
  return left.slots.flatMap((_, index) => {
    const { slots } = left;
    if (index !== left.next && slots[left.next]!.bootedWell) return [];
    return bootOutcomes(`${move}, slot ${index + 1} boots`, at, { slots, running: index, next: index });
  });
}

/**
 * A pair that booted well before boots well again (assumed of the hardware). Any other may boot well, boot badly or
 * not at all, and the first boot may rewrite the configuration of the slot it runs from.
 */
function bootOutcomes(move: string, at: Walked, state: SlotState): Move[] {
  const running = runningSlot(state);
  if (running.bootedWell) return [{ move, to: { ...at, state } }];
  if (running.release === null) return [{ move: `${move}: nothing comes up`, to: { ...at, state } }];
  const configurations = new Set([running.configuration, ...CONFIGURATIONS]);
  return [...configurations].flatMap((configuration) => {
    const migrated = withSlot(state, state.running, { configuration });
    const well = booted(migrated, true);
    const proved = prove(at.proved, runningSlot(well));
    return [
      { move: `${move}: well with ${configuration}`, to: { ...at, state: well, proved } },
      { move: `${move}: not well with ${configuration}`, to: { ...at, state: booted(migrated, false) } },
    ];
  });
}

function operationsOf(kind: DeviceKind): readonly Operation[] {
  const spare: readonly Operation[] =
    kind.slots === 1 ? [] : [{ name: 'keep' }, { name: 'recover' }, { name: 'boot', slot: 'spare' }];
  return [
    ...spare,
    ...RELEASES.map((release): Operation => ({ name: 'install', release })),
    ...CONFIGURATIONS.flatMap((configuration): Operation[] => [
      { name: 'apply', configuration },
      { name: 'apply', configuration, needsRestart: true },
    ]),
    { name: 'boot', slot: 'running' },
    { name: 'restart' },
    { name: 'shutdown' },
  ];
}

/** What must never be, judged by what really happened and not by the rules under test. */
function wrongWith({ state, reserve, proved }: Walked, kind: DeviceKind): string | null {
  const really = (pair: Pair) => proved.some((known) => samePair(known, pair));
  const lie = state.slots.find((slot) => slot.bootedWell && !really(slot));
  if (lie !== undefined) return `slot ${lie.id} is said to have booted well, and this pair never did`;
  if (kind.slots === 1) return null;
  if (!state.slots.some(really)) return 'no slot holds a pair that booted well here';
  if (reserve !== null && !state.slots.some((slot) => samePair(slot, reserve) && really(slot))) {
    return 'the reserve is gone before the run decided';
  }
  return null;
}

function prove(proved: readonly Pair[], slot: Pair): readonly Pair[] {
  if (slot.configuration === null || proved.some((pair) => samePair(pair, slot))) return proved;
  return [...proved, pairOf(slot)].sort((a, b) => (text(a) < text(b) ? -1 : 1));
}

function pairOf({ release, configuration }: Pair): Pair {
  return { release, configuration };
}

function text({ release, configuration }: Pair): string {
  return `${release}/${configuration}`;
}

function key({ state, reserve, proved }: Walked): string {
  const slots = state.slots.map((slot) => `${text(slot)}${slot.bootedWell ? '+' : '-'}`).join(' ');
  const due = state.restartDue === true ? 'due' : '';
  return `${slots} ${state.running}${state.next}${due} ${reserve ? text(reserve) : ''} ${proved.map(text).join()}`;
}

function traceOf(from: ReadonlyMap<string, { before: string | null; move: string }>, at: Walked): string[] {
  const trace: string[] = [];
  for (let k: string | null = key(at); k !== null; ) {
    const step: { before: string | null; move: string } = from.get(k)!;
    trace.unshift(step.move);
    k = step.before;
  }
  return trace;
}
