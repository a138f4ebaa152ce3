import type { Command } from 'commander';
import { type ConfigObject, type ObjectFinding, objectFindings } from '#core/config';
import {
  type Finding,
  type Findings,
  gatherRows,
  type Naming,
  originRecord,
  originText,
  type Policy,
  REVIEW_BUDGET,
  removalEffect,
  reviewPolicy,
  rowRecord,
  rowText,
  type TrafficBudget,
  type TrafficDifference,
} from '#core/traffic';
import { namingOf } from '#dialects';
import {
  configurationFrom,
  policyIn,
  type ReadingOptions,
  readSource,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { budgetOf, type EffortOption, MORE_EFFORT, withEffort } from './effort.ts';
import { ExitCode } from './exit-codes.ts';
import { findingSentence, objectFindingText, rulesOf, unexaminedLines } from './finding-text.ts';

interface Options extends ReadingOptions, EffortOption {
  outside?: string[];
  removal?: boolean;
}

/** `review POLICY`: what is worth a second look in one policy, each with its proof. */
export function reviewCommand(program: Command, context: CliContext): void {
  withEffort(withReadingOptions(program.command('review <configuration>')))
    .summary('what is worth a second look in one policy')
    .description(`what is worth a second look in one policy, with proof. It is ${SOURCES}`)
    .option(
      '--outside <interface...>',
      'interfaces that lead outside: sources that cannot come from there are found',
    )
    .option('--removal', 'show for each finding the rows that removing the rule would change')
    .action(async (named: string, options: Options) => {
      const source = await configurationFrom(context, named);
      const read = await readSource(source, options);
      const policy = policyIn(source, read);
      const naming = namingOf(read);
      const outside = options.outside ?? [];
      const review = reviewPolicy(policy, { outside, budget: budgetOf(options, REVIEW_BUDGET) });
      const budget = budgetOf(options);
      const objects = read.parts.flatMap(({ configuration }) => objectFindings(configuration));
      const removals = new Map(
        review.findings.map((finding) => [
          finding,
          options.removal === true ? removalOf(policy, finding, budget) : null,
        ]),
      );
      context.out.result(
        dataOf(review, removals, objects, policy, outside, naming),
        textOf(review, removals, objects, policy, outside, naming),
      );
      const found = review.findings.length + objects.length;
      context.exit(found > 0 ? ExitCode.different : isOpen(review) ? ExitCode.undecided : ExitCode.ok);
    });
}

/** Was anything left unexamined? */
const isOpen = ({ unexamined, unexaminedOutside = [] }: Findings) =>
  unexamined.length + unexaminedOutside.length > 0;

/** Never reached and redundant rules change nothing when removed: that is what was proved. */
function removalOf(policy: Policy, finding: Finding, budget: TrafficBudget): TrafficDifference | null {
  return changesNothing(finding) ? null : removalEffect(policy, finding.rule, budget);
}

function dataOf(
  { findings, unexamined, unexaminedOutside = [] }: Findings,
  removals: ReadonlyMap<Finding, TrafficDifference | null>,
  objects: readonly ObjectFinding[],
  policy: Policy,
  outside: readonly string[],
  naming: Naming,
) {
  return {
    findings: findings.map((finding) => ({
      kind: finding.kind,
      rule: originRecord(finding.rule),
      ways: finding.ways,
      proof: rulesOf(finding).map(originRecord),
      ...(finding.kind === 'special source'
        ? {
            interface: finding.interface,
            blocks: finding.blocks.map(({ text, name, assignedBy }) => ({ text, name, assignedBy })),
          }
        : {}),
      removal: removalData(finding, removals.get(finding) ?? null, naming),
    })),
    objects: objects.map((finding) => ({
      kind: finding.kind,
      object: objectRecord(finding.object),
      also: 'also' in finding ? objectRecord(finding.also) : null,
      removal: {
        changes: finding.kind === 'unused' && policy.unread.length === 0 ? 'nothing' : 'not computed',
      },
    })),
    notExamined: unexamined.map(originRecord),
    outsideNotExamined: unexaminedOutside,
    outside,
    unread: policy.unread.map(({ file, line, text, reason }) => ({ file, line, text, reason })),
  };
}

const objectRecord = ({ kind, name, place }: ConfigObject) => ({
  kind,
  name,
  file: place.file,
  line: place.line,
});

function removalData(finding: Finding, effect: TrafficDifference | null, naming: Naming) {
  if (changesNothing(finding)) return { changes: 'nothing' };
  if (effect === null) return { changes: 'not computed' };
  return { changes: effect.verdict, rows: effect.rows.map((row) => rowRecord(row, naming)) };
}

const changesNothing = ({ kind }: Finding) =>
  kind === 'never reached' || kind === 'redundant' || kind === 'matches nothing';

/** Rows of a removal that are shown. */
const SHOWN = 5;

const REMOVAL = {
  equal: '  Removing it changes no traffic.',
  different: '  Removing it changes:',
  undecided: '  What removing it changes could not be decided.',
};

function textOf(
  review: Findings,
  removals: ReadonlyMap<Finding, TrafficDifference | null>,
  objects: readonly ObjectFinding[],
  policy: Policy,
  outside: readonly string[],
  naming: Naming,
): string {
  const { findings, unexamined, unexaminedOutside = [] } = review;
  const found = findings.length + objects.length;
  const lines = [found === 0 ? 'Nothing was found.' : found === 1 ? 'One finding.' : `${found} findings.`];
  for (const finding of findings) {
    lines.push('', `${finding.kind}: ${originText(finding.rule.origin)}`, `  ${findingSentence(finding)}`);
    // A rule compiled in for both IP versions is one line to its reader.
    const proof = new Set(rulesOf(finding).map((rule) => originText(rule.origin)));
    for (const rule of proof) lines.push(`    ${rule}`);
    if (changesNothing(finding)) lines.push('  Removing it changes no traffic.');
    const effect = removals.get(finding);
    if (effect !== null && effect !== undefined) {
      lines.push(REMOVAL[effect.verdict]);
      const rows = gatherRows(effect.rows);
      for (const { row, families } of rows.slice(0, SHOWN))
        lines.push(`    ${row.before.verdict} -> ${row.after.verdict}: ${rowText(row, naming, families)}`);
      if (rows.length > SHOWN) lines.push(`    and ${rows.length - SHOWN} more rows`);
    }
  }
  const unread = policy.unread.length > 0;
  for (const finding of objects) lines.push('', objectFindingText(finding, unread));
  if (outside.length === 0)
    lines.push('', 'Not checked: sources on outside interfaces (name them with --outside).');
  if (unexamined.length > 0) lines.push('', ...unexaminedLines(unexamined));
  for (const name of unexaminedOutside)
    lines.push('', `Not examined in full within the budget: sources on ${name}`);
  if (isOpen(review)) lines.push('', MORE_EFFORT);
  if (policy.unread.length > 0) lines.push('', 'Not read, so that findings hold but for what these do:');
  for (const { file, line, text, reason } of policy.unread)
    lines.push(`  ${file}:${line} "${text}" (${reason})`);
  return lines.join('\n');
}
