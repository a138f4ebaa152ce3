import type { Rule } from '../policy.ts';
import { Field } from './fields.ts';
import { InterfaceNames } from './interfaces.ts';
import type { LoadedRule, LoadedStage } from './load.ts';
import type { Comparison } from './program.ts';
import type { Side, Slots } from './slots.ts';

/** A changed rule and where it stands. */
export interface ChangedRule {
  readonly side: Side;
  readonly slot: number;
  readonly index: number;
  readonly rule: Rule;
}

/** A comparison in progress: names turned into numbers, and the changed rules numbered. */
export interface OpenComparison extends Comparison {
  readonly changed: readonly ChangedRule[];
  readonly conditionNames: readonly string[];
  /** Does the rule stand among translations? */
  translates(rule: LoadedRule): boolean;
}

/** With more changed rules than this that let packets pass, they are not followed one by one through later stages. */
const FOLLOWED = 32;

/**
 * `asked` holds a rule from outside the policies, whose interface names count too. `openAll` follows every packet to its
 * end at once, instead of where a difference shows.
 */
export function openComparison(slots: Slots, asked?: LoadedStage, openAll = false): OpenComparison {
  const changed: ChangedRule[] = [];
  const causes = new Map<string, number>();
  const inMentioned = new Set<string>(asked?.inNames);
  const outMentioned = new Set<string>(asked?.outNames);
  let passing = 0;
  for (const [slot, { before, after }] of slots.slots.entries()) {
    for (const [side, { stage, changed: indexes }] of [
      ['before', before],
      ['after', after],
    ] as const) {
      for (const name of stage?.inNames ?? []) inMentioned.add(name);
      for (const name of stage?.outNames ?? []) outMentioned.add(name);
      for (const index of indexes) {
        const { rule } = stage!.rules[index]!;
        causes.set(`${side}/${slot}/${index}`, changed.length);
        changed.push({ side, slot, index, rule });
        if ('verdict' in rule.action && rule.action.verdict === 'accept') passing++;
      }
    }
  }
  const conditionNames: string[] = [];
  const conditions = new Map<string, number>();
  let translating: ReadonlySet<LoadedRule> | undefined;
  return {
    slots,
    changed,
    conditionNames,
    inNames: new InterfaceNames(inMentioned),
    outNames: new InterfaceNames(outMentioned),
    followCauses: passing <= FOLLOWED,
    opened: new Set(),
    openAll,
    translates(rule) {
      translating ??= rulesOfTranslation(slots);
      return translating.has(rule);
    },
    causeOf: (side, slot, rule) => causes.get(`${side}/${slot}/${rule}`) ?? -1,
    conditionField(name) {
      let field = conditions.get(name);
      if (field === undefined) {
        field = Field.firstCondition + conditionNames.length;
        conditions.set(name, field);
        conditionNames.push(name);
      }
      return field;
    },
  };
}

function rulesOfTranslation({ slots }: Slots): ReadonlySet<LoadedRule> {
  const stages = slots.flatMap(({ before, after }) => [before.stage, after.stage]);
  return new Set(stages.flatMap((stage) => (stage?.kind === 'nat' ? stage.rules : [])));
}
