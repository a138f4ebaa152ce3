import { TuckpointError } from '#core/errors';
import { hasOwnName, memberKey } from '../difference/member.ts';
import type { ConfigObject } from '../typed-configuration.ts';
import { nearNames } from './near-names.ts';

/** Where carried rules go in the target's list. `rule` is a comment, or LIST#N with N from 1. */
export type Anchor =
  | { readonly at: 'first' | 'last' | 'neighbours' }
  | { readonly at: 'before' | 'after'; readonly rule: string };

/** A place in a list (before the member of that index), or why there is none. */
export type Placement =
  | { readonly index: number }
  | { readonly why: string; readonly candidates: readonly string[] };

/**
 * Reads `first`, `last`, `neighbours`, `before:RULE` or `after:RULE`.
 * @throws TuckpointError `config/anchor`.
 */
export function readAnchor(text: string): Anchor {
  if (text === 'first' || text === 'last' || text === 'neighbours') return { at: text };
  const match = /^(before|after):(.+)$/s.exec(text);
  if (match !== null) {
    const rule = match[2]!.trim().replace(/^"(.*)"$/s, '$1');
    return { at: match[1] as 'before' | 'after', rule };
  }
  throw new TuckpointError('config/anchor', `"${text}" says no place for rules.`, {
    place: { field: '--place' },
    advice:
      'Write first, last, neighbours, before:RULE or after:RULE; RULE is a comment, or CHAIN#3 for the third rule.',
  });
}

/**
 * The place of one run of carried rules. `own` is the source's list, `carried` the rules that come, `there` the
 * target's list.
 */
export function placeIn(
  anchor: Anchor,
  own: readonly ConfigObject[],
  carried: ReadonlySet<ConfigObject>,
  first: ConfigObject,
  there: readonly ConfigObject[],
): Placement {
  if (anchor.at === 'first' || there.length === 0) return { index: 0 };
  if (anchor.at === 'last') return { index: there.length };
  if (!('rule' in anchor)) return besideNeighbours(own, carried, first, there);
  const found = there.flatMap((rule, index) => (isNamed(rule, index, anchor.rule) ? [index] : []));
  if (found.length === 1) return { index: found[0]! + (anchor.at === 'after' ? 1 : 0) };
  if (found.length === 0) {
    return {
      why: `no rule "${anchor.rule}" is there`,
      candidates: nearNames(anchor.rule, there.map(nameAt)),
    };
  }
  return {
    why: `${found.length} rules are called "${anchor.rule}"`,
    candidates: found.map((index) => `${there[index]!.order!.list}#${index + 1}`),
  };
}

/** `inet filter forward#3`, `forward#3`, or the comment. */
function isNamed(rule: ConfigObject, index: number, name: string): boolean {
  const numbered = /^(.+)#(\d+)$/.exec(name);
  if (numbered === null) return rule.name === name;
  const { list } = rule.order!;
  const listFits = list === numbered[1] || list.endsWith(` ${numbered[1]}`);
  return rule.name === name || (listFits && index + 1 === Number(numbered[2]));
}

const nameAt = (rule: ConfigObject, index: number): string =>
  hasOwnName(rule) ? rule.name : `${rule.order!.list}#${index + 1}`;

/**
 * Between the nearest rules that both lists have, before and behind. Where the target has others between them, any
 * of several places would do, and none is chosen.
 */
function besideNeighbours(
  own: readonly ConfigObject[],
  carried: ReadonlySet<ConfigObject>,
  first: ConfigObject,
  there: readonly ConfigObject[],
): Placement {
  const places = placesIn(there);
  const placeOf = (rule: ConfigObject) => (carried.has(rule) ? -1 : (places.get(memberKey(rule)) ?? -1));
  const at = own.indexOf(first);
  let low = 0;
  let high = there.length;
  for (let i = at - 1; i >= 0; i--) {
    const place = placeOf(own[i]!);
    if (place < 0) continue;
    low = place + 1;
    break;
  }
  for (let i = at + 1; i < own.length; i++) {
    const place = placeOf(own[i]!);
    if (place < 0) continue;
    high = place;
    break;
  }
  if (low === high) return { index: low };
  const between = there
    .slice(Math.min(low, high), Math.max(low, high))
    .map((rule, i) => nameAt(rule, low + i));
  return {
    why:
      low > high
        ? 'its neighbours stand in another order there'
        : `${high - low} other rules stand between its neighbours there`,
    candidates: between.slice(0, 12),
  };
}

const known = new WeakMap<readonly ConfigObject[], ReadonlyMap<string, number>>();

/** Where the members of a list stand, by what makes them the same; -1 for those that it has several times. */
function placesIn(list: readonly ConfigObject[]): ReadonlyMap<string, number> {
  const found = known.get(list);
  if (found !== undefined) return found;
  const places = new Map<string, number>();
  for (const [index, rule] of list.entries()) {
    const key = memberKey(rule);
    places.set(key, places.has(key) ? -1 : index);
  }
  known.set(list, places);
  return places;
}
