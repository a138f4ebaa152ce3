import { describe, expect, it } from 'vitest';
import type { DeviceKind } from './index.ts';
import { firstUnsafeInstant, type Operation, planFor, refusalOf, reserveOf } from './index.ts';
import { inService, type Rules, walk } from './walk.reference.ts';

const kinds: readonly [string, DeviceKind][] = [
  ['writes in place', { slots: 2, installWrites: 'running' }],
  ['writes in place, whole', { slots: 2, installWrites: 'running', writesWhole: true }],
  ['writes the spare', { slots: 2, installWrites: 'spare' }],
  ['writes the spare, whole', { slots: 2, installWrites: 'spare', writesWhole: true }],
  [
    'writes the spare, configuration carried',
    { slots: 2, installWrites: 'spare', spareConfiguration: 'carried' },
  ],
  ['has one slot', { slots: 1, installWrites: 'running' }],
];
const inPlace = kinds[0]![1];
const intoSpare = kinds[2]![1];

const refusing = (also: (operation: Operation) => boolean): Rules => {
  return (state, operation, kind, standing) =>
    also(operation) ? null : refusalOf(state, operation, kind, standing);
};

describe('every state that runs can reach, power lost at every instant', () => {
  it.each(kinds)('leaves a way back on a device that %s', (_, kind) => {
    const { broken, states, moves } = walk(kind, inService(kind));
    expect(broken).toBeNull();
    expect(states).toBeGreaterThan(kind.slots === 1 ? 20 : 500);
    expect(moves).toBeGreaterThan(states);
  });

  it.each(kinds)('keeps every flag true where the spare holds an old pair and the device %s', (_, kind) => {
    const start = inService(kind);
    const spare = { id: '2', release: '4.2.0', configuration: 'c2', bootedWell: true };
    const slots = kind.slots === 1 ? start.slots : [start.slots[0]!, spare];
    expect(walk(kind, { ...start, slots }).broken).toBeNull();
  });
});

describe('the walk catches rules that are wrong', () => {
  it('an install in place that does not ask for a copy first', () => {
    const { broken } = walk(
      inPlace,
      inService(inPlace),
      refusing((o) => o.name === 'install'),
    );
    expect(broken?.at(-1)).toBe('no slot holds a pair that booted well here');
    expect(broken).toHaveLength(3);
  });

  it('a copy of an update that is not decided yet over the reserve', () => {
    const { broken } = walk(inPlace, inService(inPlace), (state, operation, kind, standing) =>
      operation.name === 'keep'
        ? refusalOf(state, operation, kind, { ...standing, reserve: null })
        : refusalOf(state, operation, kind, standing),
    );
    expect(broken?.at(-1)).toBe('the reserve is gone before the run decided');
  });

  it.each(['keep', 'recover', 'apply'] as const)('a %s that is never refused', (name) => {
    expect(
      walk(
        inPlace,
        inService(inPlace),
        refusing((o) => o.name === name),
      ).broken,
    ).not.toBeNull();
    expect(
      walk(
        intoSpare,
        inService(intoSpare),
        refusing((o) => o.name === name),
      ).broken,
    ).not.toBeNull();
  });

  it('an install into the spare while the reserve lies there', () => {
    const { broken } = walk(
      intoSpare,
      inService(intoSpare),
      refusing((o) => o.name === 'install'),
    );
    expect(broken).not.toBeNull();
  });

  it('a planner that forgets the copy, at the step and the instant where it breaks', () => {
    const state = inService(inPlace);
    const forgetful: readonly Operation[] = [{ name: 'install', release: '4.2.0' }, { name: 'restart' }];
    expect(firstUnsafeInstant(state, forgetful, inPlace, reserveOf(state))).toMatchObject({
      step: 0,
      lost: 'every pair that booted well',
    });
    const late: readonly Operation[] = [{ name: 'keep' }, ...forgetful, { name: 'keep' }];
    expect(firstUnsafeInstant(state, late, inPlace, reserveOf(state))).toMatchObject({
      step: 3,
      lost: 'the reserve',
    });
  });
});

describe('from every state a run can be killed in', () => {
  it.each(kinds.slice(0, 5))('there is a safe sequence back to the reserve (%s)', (_, kind) => {
    let killed = 0;
    const rules: Rules = (state, operation, k, standing) => {
      const { reserve } = standing;
      if (reserve && operation.name === 'restart') {
        const plan = planFor(state, { reach: 'pair', pair: reserve }, k, standing);
        if (!plan.possible) expect.fail(`${plan.refusal.sentence} ${JSON.stringify(state)}`);
        const operations = plan.steps.map((step) => step.operation);
        expect(firstUnsafeInstant(state, operations, k, reserve)).toBeNull();
        expect(operations.length).toBeLessThanOrEqual(2);
        killed++;
      }
      return refusalOf(state, operation, k, standing);
    };
    expect(walk(kind, inService(kind), rules).broken).toBeNull();
    expect(killed).toBeGreaterThan(500);
  });

  it.each(kinds.slice(0, 5))('every plan for an update is safe at every instant (%s)', (_, kind) => {
    let planned = 0;
    const rules: Rules = (state, operation, k, standing) => {
      const { reserve } = standing;
      if (reserve && operation.name === 'restart') {
        const plan = planFor(state, { reach: 'release', release: '4.2.0' }, k, standing);
        if (plan.possible) {
          const operations = plan.steps.map((step) => step.operation);
          expect(firstUnsafeInstant(state, operations, k, reserve)).toBeNull();
          planned++;
        }
      }
      return refusalOf(state, operation, k, standing);
    };
    walk(kind, inService(kind), rules);
    expect(planned).toBeGreaterThan(50);
  });
});
