import { describe, expect, it } from 'vitest';
import {
  after as afterwards,
  booted,
  type DeviceKind,
  drawSlots,
  explain,
  instants,
  type Operation,
  observed,
  planFor,
  reconcile,
  refusalOf,
  reserveHeldBy,
  reserveOf,
  type SlotContent,
  type SlotState,
} from './index.ts';

const inPlace: DeviceKind = { slots: 2, installWrites: 'running' };
const intoSpare: DeviceKind = { slots: 2, installWrites: 'spare' };
const single: DeviceKind = { slots: 1, installWrites: 'running' };

const slot = (id: string, release: string | null, configuration: string | null, bootedWell = true) => ({
  id,
  release,
  configuration,
  bootedWell,
});
const two = (a: SlotContent, b: SlotContent, running = 0, next = running): SlotState => ({
  slots: [a, b],
  running,
  next,
});
const device = two(slot('1', '4.1.0', 'c2'), slot('2', '4.0.3', 'c1'));
const update: Operation = { name: 'install', release: '4.2.0' };
const names = (operations: readonly { readonly operation: Operation }[]) =>
  operations.map(({ operation }) => operation.name);

describe('what an operation makes of the slots (common practice, no source)', () => {
  it('an install in place changes the release of the running slot and nothing else', () => {
    expect(afterwards(device, update, inPlace)).toEqual({
      ...two(slot('1', '4.2.0', 'c2', false), slot('2', '4.0.3', 'c1')),
      restartDue: true,
    });
  });

  it('an install into the spare leaves its configuration and boots it next', () => {
    expect(afterwards(device, update, intoSpare)).toEqual(
      two(slot('1', '4.1.0', 'c2'), slot('2', '4.2.0', 'c1', false), 0, 1),
    );
    expect(afterwards(device, update, { ...intoSpare, spareConfiguration: 'carried' }).slots[1]).toEqual(
      slot('2', '4.2.0', 'c2', false),
    );
  });

  it('keep copies release and configuration both, with what is known of the pair', () => {
    expect(afterwards(device, { name: 'keep' }, inPlace).slots[1]).toEqual(slot('2', '4.1.0', 'c2'));
  });

  it('with a copy kept first, the spare holds the previous pair after an update', () => {
    const kept = afterwards(device, { name: 'keep' }, inPlace);
    const installed = afterwards(kept, update, inPlace);
    const restarted = booted(afterwards(installed, { name: 'restart' }, inPlace), true);
    expect(restarted).toEqual(two(slot('1', '4.2.0', 'c2'), slot('2', '4.1.0', 'c2')));
  });

  it('recover brings the spare back, and the device runs it only after a restart', () => {
    const recovered = afterwards(device, { name: 'recover' }, inPlace);
    expect(recovered).toEqual({
      ...two(slot('1', '4.0.3', 'c1'), slot('2', '4.0.3', 'c1')),
      restartDue: true,
    });
    expect(afterwards(recovered, { name: 'restart' }, inPlace).restartDue).toBeUndefined();
  });

  it('either slot can boot, and the one that booted boots next', () => {
    const spare = afterwards(device, { name: 'boot', slot: 'spare' }, inPlace);
    expect([spare.running, spare.next]).toEqual([1, 1]);
    expect(afterwards(spare, { name: 'boot', slot: 'spare' }, inPlace).running).toBe(0);
  });

  it('a changed configuration has not booted yet; the same one changes nothing', () => {
    const apply = (configuration: string): Operation => ({ name: 'apply', configuration });
    expect(afterwards(device, apply('c3'), inPlace).slots[0]).toEqual(slot('1', '4.1.0', 'c3', false));
    expect(afterwards(device, apply('c2'), inPlace)).toEqual(device);
    expect(afterwards(device, { ...apply('c3'), needsRestart: true } as Operation, inPlace).restartDue).toBe(
      true,
    );
  });

  it('power lost in the middle of a write leaves nothing known in that slot, unless the device writes whole', () => {
    const torn = slot('2', null, null, false);
    expect(instants(device, { name: 'keep' }, inPlace).map((s) => s.slots[1])).toContainEqual(torn);
    const whole = instants(device, { name: 'keep' }, { ...inPlace, writesWhole: true });
    expect(whole.map((s) => s.slots[1])).not.toContainEqual(torn);
    expect(instants(device, update, intoSpare).map((s) => [s.slots[1]!.release, s.next])).toEqual([
      ['4.0.3', 0],
      [null, 0],
      [null, 1],
      ['4.2.0', 1],
    ]);
  });

  it('a pair that is not wholly known is never marked as booted well', () => {
    expect(booted(two(slot('1', '4.1.0', null, false), device.slots[1]!), true).slots[0]!.bootedWell).toBe(
      false,
    );
  });

  it('a device with one slot cannot show two', () => {
    expect(() => afterwards(device, update, single)).toThrow('A device with one slot cannot show 2 slots');
    expect(() => afterwards({ ...device, running: 2 }, update, inPlace)).toThrow('running 2');
  });
});

describe('why an operation is refused', () => {
  const unproved = two(slot('1', '4.1.0', 'c2', false), slot('2', '4.0.3', 'c1'));
  const empty = two(slot('1', '4.1.0', 'c2'), slot('2', null, null, false));
  const one: SlotState = { slots: [slot('1', '4.1.0', 'c2')], running: 0, next: 0 };
  const boot: Operation = { name: 'boot', slot: 'spare' };

  it.each<[string, SlotState, Operation, DeviceKind, string]>([
    ['install in place with an empty spare', empty, update, inPlace, 'spare-not-well'],
    ['install into the spare of an unproved device', unproved, update, intoSpare, 'running-not-well'],
    ['keep of a pair that never booted well', unproved, { name: 'keep' }, inPlace, 'running-not-well'],
    ['recover from an empty spare', empty, { name: 'recover' }, inPlace, 'spare-not-well'],
    ['apply without a reserve', empty, { name: 'apply', configuration: 'x' }, inPlace, 'spare-not-well'],
    ['boot of an empty spare', empty, boot, inPlace, 'nothing-to-boot'],
    ['keep on one slot', one, { name: 'keep' }, single, 'one-slot'],
    ['recover on one slot', one, { name: 'recover' }, single, 'one-slot'],
    ['boot of a spare on one slot', one, boot, single, 'one-slot'],
    ['install on one slot with nothing at hand', one, update, single, 'no-way-back'],
  ])('%s', (_, state, operation, kind, reason) => {
    const refusal = refusalOf(state, operation, kind);
    expect(refusal?.reason).toBe(reason);
    expect(refusal?.sentence).toMatch(/^[A-Z].*\.$/);
    expect(refusal?.advice).toMatch(/^[A-Z].*\.$/);
  });

  it('an install in place during a run needs the reserve itself in the spare, not just any pair', () => {
    expect(refusalOf(device, update, inPlace)).toBeNull();
    expect(refusalOf(device, update, inPlace, { reserve: reserveOf(device) })).toMatchObject({
      reason: 'reserve-lost',
      advice: 'Keep a copy in the spare first.',
    });
  });

  it('a one-slot device needs a verified capture, the old firmware file and the word of the user', () => {
    const all = { captureVerified: true, oldFirmware: true, word: true };
    expect(refusalOf(one, update, single, all)).toBeNull();
    expect(refusalOf(one, update, single, { ...all, oldFirmware: false })?.sentence).toBe(
      'Install writes the only slot, so there is no reserve on the device; still missing: the firmware file of the present release at hand.',
    );
    expect(refusalOf(one, update, single, { ...all, word: false })).not.toBeNull();
    expect(refusalOf(one, update, single, { ...all, captureVerified: false })).not.toBeNull();
  });

  it('booting a spare that nothing vouches for takes the word of the user', () => {
    const neither = two(slot('1', '4.1.0', 'c2', false), slot('2', '4.0.3', 'c1', false));
    expect(refusalOf(neither, boot, inPlace)?.reason).toBe('none-well');
    expect(refusalOf(neither, boot, inPlace, { word: true })).toBeNull();
  });
});

describe('the shortest safe sequence', () => {
  const reserve = reserveOf(device);
  it('of an update copies first, and does not copy again what the spare holds already', () => {
    const goal = { reach: 'release', release: '4.2.0' } as const;
    const plan = planFor(device, goal, inPlace, { reserve });
    expect(plan.possible && names(plan.steps)).toEqual(['keep', 'install', 'restart']);
    const kept = afterwards(device, { name: 'keep' }, inPlace);
    const again = planFor(kept, goal, inPlace, { reserve });
    expect(again.possible && names(again.steps)).toEqual(['install', 'restart']);
    const other = planFor(device, goal, intoSpare, { reserve });
    expect(other.possible && names(other.steps)).toEqual(['keep', 'install', 'restart']);
  });

  it('of an update on a device whose running pair never booted restarts it first', () => {
    const unproved = two(slot('1', '4.1.0', 'c2', false), slot('2', '4.0.3', 'c1'));
    const plan = planFor(unproved, { reach: 'release', release: '4.2.0' }, inPlace, {
      reserve: reserveOf(unproved),
    });
    expect(plan.possible && names(plan.steps)).toEqual(['restart', 'keep', 'install', 'restart']);
  });

  it('of going back boots the spare', () => {
    const updated = two(slot('1', '4.2.0', 'c2', false), slot('2', '4.1.0', 'c2'));
    const plan = planFor(updated, { reach: 'pair', pair: reserve! }, inPlace, { reserve });
    expect(plan.possible && plan.steps.map((s) => s.operation)).toEqual([{ name: 'boot', slot: 'spare' }]);
    expect(reserveHeldBy(updated, reserve!)).toBe(1);
  });

  it('does not exist where no slot holds the pair, and says so', () => {
    const plan = planFor(device, { reach: 'pair', pair: { release: '3.9', configuration: 'c0' } }, inPlace);
    expect(!plan.possible && plan.refusal.sentence).toBe(
      'No slot holds 3.9 with that configuration as booted well.',
    );
  });
});

describe('what the device shows', () => {
  const shown = { slots: [slot('1', '4.1.0', 'c2'), slot('2', '4.0.3', null)], running: '1', next: '1' };

  it('counts as booted well where exactly this pair is known to have', () => {
    const state = observed(shown, [{ release: '4.1.0', configuration: 'c2' }]);
    expect(state.slots.map((s) => s.bootedWell)).toEqual([true, false]);
  });

  it('stands over what was predicted, and what it does not tell is named', () => {
    const { state, differences, unchecked } = reconcile(device, {
      ...shown,
      slots: [slot('1', '4.1.0', 'c9'), slot('2', '4.0.3', null)],
      next: '2',
    });
    expect(state).toEqual(two(slot('1', '4.1.0', 'c9', false), slot('2', '4.0.3', 'c1'), 0, 1));
    expect(differences).toEqual([
      'Slot 1 holds configuration c9, not c2 as predicted.',
      'The device boots slot 2 next, not 1 as predicted.',
    ]);
    expect(unchecked).toEqual(['The device does not tell the configuration in slot 2.']);
  });

  it('is refused when it names a slot that it does not show', () => {
    expect(() => observed({ ...shown, running: '3' }, [])).toThrow('names slot 3');
    expect(() => reconcile(device, { ...shown, slots: shown.slots.slice(0, 1) })).toThrow(
      'no longer shows slot 2',
    );
  });
});

describe('the slot strip', () => {
  it('shows what each slot holds now and then, in plain text', () => {
    expect(drawSlots(device, afterwards(device, update, inPlace))).toBe(
      `now
  ==[ slot 1 ]============   --[ slot 2 ]------------
    running, boots next        spare
    release  4.1.0             release  4.0.3
    config   c2                config   c1
    booted well here           booted well here

then (* changes)
  ==[ slot 1 ]======================   --[ slot 2 ]------------
  * running, restart due, boots next     spare
  * release  4.2.0                       release  4.0.3
    config   c2                          config   c1
  * not seen to boot well                booted well here
`,
    );
  });

  it('takes remarks per slot, and one slot', () => {
    const one: SlotState = { slots: [slot('1', null, null, false)], running: 0, next: 0 };
    expect(drawSlots(one, undefined, [['kept 41 days ago']])).toBe(
      `  ==[ slot 1 ]=============
    running, boots next
    release  unknown
    config   unknown
    cannot tell if it boots
    kept 41 days ago
`,
    );
  });

  it('lets no name of a device steer the terminal', () => {
    const hostile = two(slot('\u001b[2J', '4\u0007\n1', '\u202ec'), device.slots[1]!);
    expect(drawSlots(hostile)).not.toMatch(/[^\n\x20-\x7e]/);
    expect(drawSlots(hostile).split('\n')).toHaveLength(6);
  });

  it('explains each operation: the slots it leaves, or the sentence that refuses it', () => {
    const lines = explain(device, inPlace, { release: '4.2.0', reserve: reserveOf(device) });
    expect(lines.map((l) => [l.title, l.refusal?.reason ?? null])).toEqual([
      ['keep (copy running to spare)', null],
      ['install 4.2.0', 'reserve-lost'],
      ['recover (copy spare to running)', 'reserve-lost'],
      ['boot the spare slot', null],
      ['restart', null],
      ['shut down', null],
      ['apply a new configuration', 'reserve-lost'],
    ]);
    expect(lines.every((l) => (l.leaves === null) === (l.refusal !== null))).toBe(true);
  });
});
