import { originText, outcomesText } from './describe.ts';
import type { ChangeEffect } from './findings/effect-of-change.ts';
import type { GatheredChange } from './gathered-changes.ts';
import type { Rule } from './policy.ts';
import type { TrafficChange } from './row.ts';

/** How many rules a sentence names; of more it says how many there are. */
const NAMED = 8;

/** One change as one sentence: what becomes of which rule's packets, except those that other rules take. */
export function changeSentence({ changes, effect, rows }: GatheredChange): string {
  const [first] = changes as [TrafficChange];
  const versions = changes.map(({ family }) => `IPv${family}`).sort();
  return [
    `${outcomesText(first)}, ${first.path} the device, ${versions.join(' and ')}, `,
    `${changes.every(({ complete }) => complete) ? '' : 'at least '}${rows.length === 1 ? 'one row' : `${rows.length} rows`}: the effect of ${causesText(effect.of)}${exceptText(effect)}`,
  ].join('');
}

function causesText(rules: readonly Rule[]): string {
  return rules.length === 0 ? 'changed rules' : listed(rules, ({ origin }) => originText(origin));
}

function exceptText({ taken, alike }: ChangeEffect): string {
  const parts = [
    taken === undefined || taken.length === 0 ? '' : `what ${listed(taken, placeText)} ${take(taken)} before`,
    alike === undefined || alike.length === 0
      ? ''
      : `what ${listed(alike, placeText)} ${treat(alike)} the same`,
  ].filter((part) => part !== '');
  return parts.length === 0 ? '' : `; except ${parts.join(', and ')}`;
}

const take = (rules: readonly Rule[]) => (rules.length === 1 ? 'takes' : 'take');
const treat = (rules: readonly Rule[]) => (rules.length === 1 ? 'treats' : 'treat');

function placeText({ origin: { file, line } }: Rule): string {
  return `${file}:${line}`;
}

function listed(rules: readonly Rule[], textOf: (rule: Rule) => string): string {
  const texts = [...new Set(rules.map(textOf))];
  const shown = texts.slice(0, NAMED);
  const more = texts.length - shown.length;
  const all = more === 0 ? shown : [...shown, more === 1 ? '1 other rule' : `${more} other rules`];
  return all.length === 1 ? all[0]! : `${all.slice(0, -1).join(', ')} and ${all.at(-1)}`;
}
