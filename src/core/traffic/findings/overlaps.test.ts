import fc from 'fast-check';
import { expect, it } from 'vitest';
import { type AddressSet, addressSet, type NumberSet, numberSet } from '#core/address';
import { Field, type FieldSet } from '../difference/fields.ts';
import type { Rule } from '../policy.ts';
import { NAMED } from './finding.ts';
import { newOppositeRules, oppositeRules, type Side, type VerdictBox } from './overlaps.ts';

/** Values 0 to 5 of a field; rules name 0 to 4 only, so that no set of them is as wide as no limit at all. */
const VALUES = [0, 1, 2, 3, 4, 5];
const address = (n: number) => [0x2001_0db8, 0, n >> 1, n & 1];

const values = fc.subarray([0, 1, 2, 3, 4], { minLength: 1 });
const numbersAt = (list: readonly number[]): NumberSet => numberSet(list.map((n) => [n, n]));
const addressesAt = (list: readonly number[]): AddressSet =>
  addressSet(
    6,
    list.map((n) => ({ low: address(n), high: address(n) })),
  );

/** A rule by the values it names per field, undefined for any: interfaces, IPv6 sources, ports, a condition. */
const drawn = fc.record({
  passes: fc.boolean(),
  side: fc.constantFrom<Side>('came', 'there', 'there', 'aside'),
  limits: fc.tuple(
    ...[4, 2, 3].map((freq) => fc.option(values, { freq })),
    fc.option(fc.constant<number[]>([1])),
  ),
});
type Drawn = typeof drawn extends fc.Arbitrary<infer T> ? T : never;

function boxOf({ limits: [inside, source, service, condition] }: Drawn): VerdictBox['box'] {
  const box: (FieldSet | undefined)[] = new Array(Field.firstCondition).fill(undefined);
  if (inside) box[Field.inInterface] = numbersAt(inside);
  if (source) box[Field.source] = addressesAt(source);
  if (service) box[Field.service] = numbersAt(service);
  if (condition) box[Field.firstCondition] = [1, 1];
  return box;
}

/** Every packet of the small world that a rule matches: one `1` each. */
function packetsOf({ limits }: Drawn): Uint8Array {
  const [a, b, c, d] = limits.map((limit) => VALUES.map((v) => limit === null || limit.includes(v)));
  return Uint8Array.from(
    VALUES.flatMap((i) =>
      VALUES.flatMap((s) =>
        VALUES.flatMap((p) => VALUES.slice(0, 2).map((x) => (a![i] && b![s] && c![p] && d![x] ? 1 : 0))),
      ),
    ),
  );
}

/** Packet by packet, pair by pair. */
function byHand(rules: readonly Drawn[], compared: (a: Drawn, b: Drawn) => boolean) {
  const packets = rules.map(packetsOf);
  return rules.flatMap((later, j) => {
    const inside: number[] = [];
    const across: number[] = [];
    for (let i = 0; i < j; i++) {
      if (rules[i]!.passes === later.passes || !compared(rules[i]!, later)) continue;
      const [a, b] = [packets[i]!, packets[j]!];
      if (!a.some((x, n) => x & b[n]!)) continue;
      if (a.every((x, n) => x <= b[n]!)) inside.push(i);
      else if (!b.every((x, n) => x <= a[n]!)) across.push(i);
    }
    return inside.length + across.length === 0 ? [] : [{ rule: j, inside, across }];
  });
}

const ruleOf = (line: number): Rule => ({
  match: {},
  action: { verdict: 'drop' },
  origin: { file: 'drawn', line, text: '' },
});

it.each([
  ['a few rules', 12, 150],
  ['more rules than an index has blocks', 300, 3],
])(
  'earlier rules of the opposite verdict are those that packets one by one show: %s',
  (_, length, numRuns) => {
    fc.assert(
      fc.property(
        fc.array(drawn, { maxLength: length, minLength: length > 100 ? length : 0 }),
        fc.boolean(),
        (rules, sided) => {
          const boxes = rules.map((one, i) => ({ rule: ruleOf(i), box: boxOf(one), passes: one.passes }));
          const found = sided
            ? newOppositeRules(boxes, ({ origin }) => rules[origin.line]!.side)
            : oppositeRules(boxes);
          const facing = (a: Drawn, b: Drawn) =>
            !sided || (a.side !== b.side && a.side !== 'aside' && b.side !== 'aside');
          const most = sided ? 64 : NAMED;
          expect(
            found.map(({ rule, inside, across, ...counts }) => ({
              ...counts,
              rule: rule.origin.line,
              inside: inside.map((r) => r.origin.line),
              across: across.map((r) => r.origin.line),
            })),
          ).toEqual(
            byHand(rules, facing).map(({ rule, inside, across }) => ({
              rule,
              inside: inside.slice(0, most),
              insideCount: inside.length,
              across: across.slice(0, most),
              acrossCount: across.length,
            })),
          );
        },
      ),
      { numRuns },
    );
  },
);
