import type { Command } from 'commander';
import { type ConfigObject, type ObjectFinding, objectFindings } from '#core/config';
import {
  type Finding,
  type Findings,
  type Naming,
  originRecord,
  originText,
  type Policy,
  removalEffect,
  reviewPolicy,
  rowRecord,
  rowText,
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
import { ExitCode } from './exit-codes.ts';
import { findingSentence, objectFindingText, rulesOf } from './finding-text.ts';

interface Options extends ReadingOptions {
  outside?: string[];
  removal?: boolean;
}

/** `review POLICY`: what is worth a second look in one policy, each with its proof. */
export function reviewCommand(program: Command, context: CliContext): void {
  withReadingOptions(program.command('review <configuration>'))
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
      const review = reviewPolicy(policy, { outside });
      const objects = read.parts.flatMap(({ configuration }) => objectFindings(configuration));
      const removals = new Map(
        review.findings.map((finding) => [finding, removalOf(policy, finding, options)]),
      );
      context.out.result(
        dataOf(review, removals, objects, policy, outside, naming),
        textOf(review, removals, objects, policy, outside, naming),
      );
      const open = review.unexamined.length + (review.unexaminedOutside ?? []).length;
      const found = review.findings.length + objects.length;
      context.exit(found > 0 ? ExitCode.different : open > 0 ? ExitCode.undecided : ExitCode.ok);
    });
}

/** Never reached and redundant rules change nothing when removed: that is what was proved. */
function removalOf(policy: Policy, finding: Finding, options: Options): TrafficDifference | null {
  return options.removal === true && !changesNothing(finding) ? removalEffect(policy, finding.rule) : null;
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

const REMOVAL = {
  equal: '  Removing it changes no traffic.',
  different: '  Removing it changes:',
  undecided: '  What removing it changes could not be decided.',
};

function textOf(
  { findings, unexamined, unexaminedOutside = [] }: Findings,
  removals: ReadonlyMap<Finding, TrafficDifference | null>,
  objects: readonly ObjectFinding[],
  policy: Policy,
  outside: readonly string[],
  naming: Naming,
): string {
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
      for (const row of effect.rows.slice(0, 5)) {
        lines.push(`    ${row.before.verdict} -> ${row.after.verdict}: ${rowText(row, naming)}`);
      }
      if (effect.rows.length > 5) lines.push(`    and ${effect.rows.length - 5} more rows`);
    }
  }
  const unread = policy.unread.length > 0;
  for (const finding of objects) lines.push('', objectFindingText(finding, unread));
  if (outside.length === 0)
    lines.push('', 'Not checked: sources on outside interfaces (name them with --outside).');
  for (const rule of unexamined) lines.push('', `Not examined within the budget: ${originText(rule.origin)}`);
  for (const name of unexaminedOutside)
    lines.push('', `Not examined in full within the budget: sources on ${name}`);
  if (policy.unread.length > 0) lines.push('', 'Not read, so that findings hold but for what these do:');
  for (const { file, line, text, reason } of policy.unread)
    lines.push(`  ${file}:${line} "${text}" (${reason})`);
  return lines.join('\n');
}
