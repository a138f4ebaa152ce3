import type { Family } from '#core/address';
import type { OpaquePart } from '#core/config';
import type { Match, Path, Pipeline, Policy, Rule, Stage, Unread } from '#core/traffic';
import type { Entry } from './entry.ts';

/** An access list, read for its effect on traffic. */
export interface AccessList {
  readonly name: string;
  /** Families whose packets it judges. */
  readonly families: readonly Family[];
  readonly entries: readonly Entry[];
  readonly file: string;
  readonly line: number;
}

/** Access lists set on one interface in one direction, in their order. */
export interface Attachment {
  readonly interface: string;
  readonly direction: 'ingress' | 'egress';
  readonly lists: readonly string[];
  readonly file: string;
  readonly line: number;
}

/** RFC 8519 leaves open what happens to a packet that no entry matches; both answers are carried along. */
const DEFAULT_DROPS = {
  name: 'a packet that matches no entry of its access lists is dropped',
  holds: true,
} as const;

/**
 * The policy of access lists attached to interfaces. The lists of one attachment are one list in their order, the
 * first entry that matches decides (common practice, no source: RFC 8519 says `ordered-by user` only). When nothing
 * at all is attached, each list counts under the condition that it is applied.
 */
export function policyOf(
  lists: readonly AccessList[],
  attachments: readonly Attachment[],
  opaque: readonly OpaquePart[],
): Policy | null {
  if (lists.length === 0 && attachments.length === 0) return null;
  const byName = new Map(lists.map((list) => [list.name, list]));
  const unread: Unread[] = opaque
    .filter(({ mayAffectTraffic }) => mayAffectTraffic)
    .map(({ place, text, whole, why }) => ({
      file: place.file,
      line: place.line,
      text,
      ...(whole !== undefined && { whole }),
      reason: why,
    }));
  for (const { lists: names, interface: name, direction, file, line } of attachments) {
    for (const missing of names.filter((list) => !byName.has(list))) {
      unread.push({
        file,
        line,
        text: `${direction} of ${name}: ${missing}`,
        reason: `the access list ${missing} does not exist`,
      });
    }
  }
  const pipelines: Pipeline[] = [];
  for (const family of [4, 6] as const) {
    const stages =
      attachments.length === 0
        ? lists.map((list) => ({
            stage: { kind: 'filter', name: `acl ${list.name}`, rules: looseRules(list, family) } as Stage,
            paths: ['through', 'to', 'from'],
          }))
        : [
            { stage: attachedStage('ingress', attachments, byName, family), paths: ['through', 'to'] },
            { stage: attachedStage('egress', attachments, byName, family), paths: ['through', 'from'] },
          ];
    for (const path of ['through', 'to', 'from'] as const satisfies readonly Path[]) {
      const mine = stages
        .filter(({ paths, stage }) => paths.includes(path) && stage.rules.length > 0)
        .map(({ stage }) => stage);
      if (mine.length > 0) pipelines.push({ path, family, stages: mine });
    }
  }
  return { pipelines, unread };
}

function rulesOf(list: AccessList, family: Family, narrow: (match: Match) => Match): Rule[] {
  const index = list.families.indexOf(family);
  const rules: Rule[] = [];
  for (const { matches, verdict, origin } of list.entries) {
    const match = matches[index];
    if (match != null && verdict !== null) rules.push({ match: narrow(match), action: { verdict }, origin });
  }
  return rules;
}

function looseRules(list: AccessList, family: Family): Rule[] {
  const applied = { name: `the access list ${list.name} is applied to the packet`, holds: true };
  return rulesOf(list, family, (match) => ({ ...match, conditions: [...(match.conditions ?? []), applied] }));
}

function attachedStage(
  direction: 'ingress' | 'egress',
  attachments: readonly Attachment[],
  byName: ReadonlyMap<string, AccessList>,
  family: Family,
): Stage {
  const side = direction === 'ingress' ? 'inInterface' : 'outInterface';
  const rules = attachments
    .filter((attachment) => attachment.direction === direction)
    .flatMap(({ interface: name, lists: names, file, line }): Rule[] => {
      const lists = names
        .flatMap((list) => byName.get(list) ?? [])
        .filter(({ families }) => families.includes(family));
      if (lists.length === 0) return [];
      const here = { names: [name] };
      const own = lists.flatMap((list) =>
        // An entry that names another interface on this side can match nothing here.
        rulesOf(list, family, (match) => ({
          ...match,
          [side]: match[side] === undefined || match[side].names[0] === name ? here : { names: [] },
        })),
      );
      const last: Rule = {
        match: { [side]: here, conditions: [DEFAULT_DROPS] },
        action: { verdict: 'drop' },
        origin: { file, line, text: `${direction} of ${name}: no entry matches` },
      };
      return [...own, last];
    });
  return { kind: 'filter', name: `acl ${direction}`, rules };
}
