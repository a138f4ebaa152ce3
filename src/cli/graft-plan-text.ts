import type { Carried, GraftPlan } from '#core/config';
import { gatherRows, originText, rowText } from '#core/traffic';
import type { PlannedDevice, TargetPlan, TargetProblem } from '#runs';
import { findingSentence, rulesOf, unexaminedLines } from './finding-text.ts';
import { objectLines } from './object-difference-text.ts';
import { table } from './table.ts';
import { differenceText } from './traffic-answer.ts';

/** Rows of a broken promise, and findings, that are shown. */
const SHOWN = 5;

/** Names of parts that are there already. */
const SHOWN_NAMES = 6;

/** Different plans shown in full; the table has all devices. */
const SHOWN_PLANS = 10;

/** What a person can say so that it no longer stops. */
const ADVICE: Partial<Record<TargetProblem['what'], string>> = {
  collision: 'Decide with --on-collision: keep (theirs), take (ours) or rename, for all or as NAME=DECISION.',
  placement: 'Say where with --place first, last, before:RULE or after:RULE.',
  'name taken': 'Give another name with --on-collision NAME=rename:OTHER.',
  'fill-in': 'Give the device a value with --fill, or among its own with "tuckpoint device add … --own".',
  'broken promise': 'If that is meant, say so with --accept-broken-promises.',
};

const UNPROVED = 'It is not carried out without your word for that: --accept-unproved.';

/** What is kept of one device's plan once it is shown: plans hold whole configurations, and there may be a thousand. */
export interface ShownPlan {
  readonly head: string;
  readonly text: string;
  readonly row: readonly string[];
}

/** `loaded`: what came of loading the result for real, as a sentence. */
export function shownPlan(planned: PlannedDevice, loaded: string | null = null): ShownPlan {
  const text = planned.plan === null ? `  Not planned: ${planned.why}` : planText(planned.plan);
  return {
    head: headOf(planned),
    text: loaded === null ? text : `${text}\n  ${loaded}`,
    row: rowOf(planned),
  };
}

/** All plans for a person: each in full, devices of the same plan together, and a table of all at the end. */
export function plansText(shown: readonly ShownPlan[]): string {
  const groups = new Map<string, string[]>();
  for (const { head, text } of shown) groups.set(text, [...(groups.get(text) ?? []), head]);
  const texts = [...groups].slice(0, SHOWN_PLANS).map(([text, heads]) => `${heads.join('\n')}\n${text}`);
  if (groups.size > SHOWN_PLANS)
    texts.push(`Shown in full: ${SHOWN_PLANS} of ${groups.size} different plans (all with --json).`);
  const rows = shown.map(({ row }) => row);
  return [...texts, ...(shown.length > 1 ? [table(HEADING, rows)] : [])].join('\n\n');
}

function headOf({ device, capture }: PlannedDevice): string {
  return capture === null ? device : `${device}, by its capture ${capture.id} of ${capture.at}`;
}

function planText(plan: TargetPlan): string {
  const lines: string[] = [];
  for (const { plan: own } of plan.plans) lines.push(...carriedLines(own));
  for (const { placeholder, value } of plan.fillIns)
    lines.push(`fill-in: ${value} in place of ${placeholder}`);
  for (const { sentence, candidates } of plan.problems) {
    lines.push(`stops here: ${sentence}`);
    if (candidates.length > 0) lines.push(`    ${candidates.join(', ')}`);
  }
  for (const what of new Set(plan.problems.map((problem) => problem.what)))
    if (ADVICE[what] !== undefined) lines.push(ADVICE[what]);
  if (plan.changed.length > 0 || plan.problems.length === 0) lines.push(...proofLines(plan));
  return lines.map((line) => (line === '' ? '' : `  ${line}`)).join('\n');
}

function proofLines(plan: TargetPlan): string[] {
  if (plan.changed.length === 0) return ['Nothing to do: the device holds all of it already.'];
  const objects = plan.difference.parts.flatMap(({ difference }) => objectLines(difference, (file) => file));
  return [
    'Objects',
    ...indented(objects),
    'Traffic',
    ...indented(trafficLines(plan)),
    ...findingLines(plan),
    ...promiseLines(plan),
    `${plan.restart.needed ? 'A restart is needed' : 'No restart is needed'}. ${plan.restart.why}`,
  ];
}

const indented = (lines: readonly string[]) => lines.map((line) => (line === '' ? '' : `  ${line}`));

/** What a plan does to traffic could not be told: it takes the user's word to carry it out. */
export function isUnproved({ traffic, trafficUnknown, changed }: TargetPlan): boolean {
  return changed.length > 0 && (trafficUnknown !== null || traffic?.verdict === 'undecided');
}

function trafficLines({ traffic, trafficUnknown, changed, naming }: TargetPlan): string[] {
  if (trafficUnknown !== null) return [`Not compared: ${trafficUnknown}`, UNPROVED];
  if (traffic === null) return [`No dialect finds packet rules in ${changed.join(', ')} or beside it.`];
  const lines = differenceText(traffic, naming()).split('\n');
  return traffic.verdict === 'undecided' ? [...lines, UNPROVED] : lines;
}

function carriedLines({ carried, offers, remarks, problems }: GraftPlan): string[] {
  const open = new Set(problems.map(({ object }) => object));
  const there: string[] = [];
  const lines = carried.flatMap((one) => {
    const { object, role, whole } = one.part;
    const name = `${object.kind} ${object.name}`;
    if (open.has(object)) return [`undecided: ${name} (${role})`];
    if (one.fate.how === 'found' && (role !== 'container' || whole)) there.push(object.name);
    const said = fateText(one);
    return said === null ? [] : [`${said}: ${name} (${role})`];
  });
  if (there.length > 0)
    lines.push(`there already, with the same meaning: ${there.length} (${listed(there, SHOWN_NAMES)})`);
  for (const { object, there } of offers)
    lines.push(
      `the device has the same value under the name ${there.name}: --match "${object.name}" lets it serve in place of ${object.name}`,
    );
  return [...lines, ...remarks];
}

function listed(names: readonly string[], most: number): string {
  const more = names.length > most ? ` and ${names.length - most} more` : '';
  return `${names.slice(0, most).join(', ')}${more}`;
}

/** What becomes of a part, in words; null for what comes inside another, or is there already. */
function fateText({ fate }: Carried): string | null {
  switch (fate.how) {
    case 'inside':
    case 'found':
      return null;
    case 'added':
      return 'comes';
    case 'matched':
      return `served by theirs of the same value, ${fate.there.name}`;
    case 'kept':
      return 'theirs stays';
    case 'taken':
      return 'ours replaces theirs';
    case 'renamed':
      return `comes as ${fate.name}, since theirs has another value`;
  }
}

function findingLines(plan: TargetPlan): string[] {
  const { findings, unexamined } = plan.findings();
  const lines =
    findings.length === 0 ? [] : [`New in the policy, and worth a second look: ${findings.length}`];
  for (const finding of findings.slice(0, SHOWN)) {
    lines.push(`  ${finding.kind}: ${originText(finding.rule.origin)}`, `    ${findingSentence(finding)}`);
    const proof = new Set(rulesOf(finding).map((rule) => originText(rule.origin)));
    for (const rule of proof) lines.push(`      ${rule}`);
  }
  if (findings.length > SHOWN) lines.push(`  and ${findings.length - SHOWN} more (all with --json)`);
  return [...lines, ...unexaminedLines(unexamined)];
}

function promiseLines({ promises: { checks, notChecked }, naming }: TargetPlan): string[] {
  const broken = checks.filter(({ answer, brokenBefore }) => answer === 'broken' && !brokenBefore);
  const already = checks.filter(({ brokenBefore }) => brokenBefore).length;
  const open = checks.filter(({ answer, exact }) => answer === 'undecided' || (answer === 'kept' && !exact));
  const lines: string[] = [];
  if (broken.length === 0 && checks.length > already)
    lines.push(`No promise breaks, of ${checks.length - already} checked.`);
  if (already > 0)
    lines.push(
      `Broken already, and afterwards as well: ${already === 1 ? 'one promise' : `${already} promises`} ("tuckpoint promises check" shows by what).`,
    );
  for (const { promise, rows } of broken) {
    lines.push(`A promise breaks: ${promise.words} (must ${promise.must})`);
    for (const { row, families } of gatherRows(rows).slice(0, SHOWN))
      lines.push(
        `    ${row.before.verdict}: ${rowText(row, naming(), families)}`,
        `      by ${originText(row.ruleBefore?.origin)}`,
      );
  }
  for (const { promise, answer, unread } of open)
    lines.push(
      answer === 'undecided'
        ? `Not decided: ${promise.words}`
        : `Kept, but for ${unread.length} statements not read: ${promise.words}`,
    );
  return [...lines, ...notChecked];
}

/** One line per device, so that a hundred can be looked over. */
const HEADING = ['device', 'objects', 'traffic', 'new findings', 'restart', 'plan'];

function rowOf({ device, plan }: PlannedDevice): string[] {
  if (plan === null) return [device, '-', '-', '-', '-', 'stops: no capture'];
  const objects = plan.difference.parts.reduce((n, { difference }) => n + difference.changes.length, 0);
  const problems = [...new Set(plan.problems.map(({ what }) => what))];
  const asPlanned = isUnproved(plan) ? 'with --accept-unproved only' : 'as planned';
  const end = plan.changed.length === 0 ? 'nothing to do' : asPlanned;
  return [
    device,
    String(objects),
    trafficWord(plan),
    String(plan.findings().findings.length),
    plan.restart.needed ? 'yes' : 'no',
    problems.length > 0 ? `stops: ${problems.join(', ')}` : end,
  ];
}

function trafficWord({ traffic, trafficUnknown, changed }: TargetPlan): string {
  if (changed.length === 0) return 'same';
  if (trafficUnknown !== null || traffic === null) return 'not compared';
  if (traffic.verdict === 'different') return `${traffic.changes.length} changes`;
  if (traffic.verdict === 'undecided') return 'undecided';
  return traffic.exact ? 'same, proved' : `same but for ${traffic.unread.length} not read`;
}
