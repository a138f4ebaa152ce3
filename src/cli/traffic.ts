import { readFile } from 'node:fs/promises';
import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import {
  decide,
  differenceRecord,
  differenceSentence,
  originRecord,
  originText,
  type Packet,
  type Policy,
  packetRecord,
  readPacket,
  rewriteText,
  trafficDifference,
  typedPacket,
} from '#core/traffic';
import { namingOf, withUnreadFiles } from '#dialects';
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
import { differenceText } from './traffic-answer.ts';

interface Options extends ReadingOptions, EffortOption {
  explain?: string;
  packets?: string;
}

/** `traffic BEFORE AFTER`, `traffic --explain PACKET BEFORE AFTER`, `traffic --packets FILE.jsonl POLICY`. */
export function trafficCommand(program: Command, context: CliContext): void {
  withEffort(withReadingOptions(program.command('traffic <before> [after]')))
    .summary('which packets two configurations treat differently')
    .description(`which packets are treated differently. Each configuration is ${SOURCES}`)
    .option(
      '--explain <packet>',
      'follow one packet, such as "in=wan0 from=192.0.2.1 to=10.4.0.1 tcp port=22 new"',
    )
    .option('--packets <file>', 'print the verdict and the deciding rule of each packet of a JSON Lines file')
    .action(async (before: string, after: string | undefined, options: Options) => {
      const first = await sideOf(context, before, options);
      if (options.packets !== undefined) return await judgePackets(first.policy, options.packets);
      const second = after === undefined ? undefined : await sideOf(context, after, options);
      if (options.explain !== undefined)
        return explain(context, typedPacket(options.explain), first.policy, second?.policy);
      if (second === undefined) {
        throw new TuckpointError('cli/bad-option', 'A second configuration is missing.', {
          advice: 'Name two, or give --packets or --explain.',
        });
      }
      const difference = trafficDifference(
        withUnreadFiles(first.policy, first.read, second.read),
        withUnreadFiles(second.policy, second.read, first.read),
        budgetOf(options),
      );
      const naming = namingOf(first.read, second.read);
      context.out.result(
        differenceRecord(difference, naming),
        differenceText(difference, naming, MORE_EFFORT),
      );
      const codes = { equal: ExitCode.ok, different: ExitCode.different, undecided: ExitCode.undecided };
      context.exit(codes[difference.verdict]);
      if (!difference.exact && difference.verdict === 'equal') {
        context.out.warn(`${differenceSentence(difference)} See the list of what was not read.`);
      }
    });
}

async function sideOf(context: CliContext, named: string, options: ReadingOptions) {
  const source = await configurationFrom(context, named);
  const read = await readSource(source, options);
  return { read, policy: policyIn(source, read) };
}

async function judgePackets(policy: Policy, file: string): Promise<void> {
  const text = await readFile(file, 'utf8').catch((cause: unknown) => {
    throw new TuckpointError('cli/cannot-read', 'The packets cannot be read.', { place: { file }, cause });
  });
  const lines: string[] = [];
  for (const [index, line] of text.split('\n').entries()) {
    if (line.trim() === '') continue;
    const decision = decide(policy, packetAt(line, file, index + 1));
    const { verdict, rule, rewrites, assumed } = decision;
    lines.push(
      JSON.stringify({
        verdict,
        rule: rule === undefined ? null : originRecord(rule),
        ...(rewrites.length === 0 ? {} : { rewrite: rewrites.map(rewriteText).join(', ') }),
        ...(assumed.length === 0 ? {} : { assumedNotToHold: assumed }),
      }),
    );
  }
  process.stdout.write(lines.length === 0 ? '' : `${lines.join('\n')}\n`);
}

function packetAt(line: string, file: string, number: number): Packet {
  const place = { file, line: number };
  let record: unknown;
  try {
    record = JSON.parse(line);
  } catch (cause) {
    throw new TuckpointError('traffic/bad-packet', 'This line is not JSON.', {
      place,
      cause,
      advice: 'Each line is one packet, as the examples of "tuckpoint traffic --json" are.',
    });
  }
  return readPacket(record, place);
}

function explain(context: CliContext, packet: Packet, before: Policy, after: Policy | undefined): void {
  const sides = [
    { side: after === undefined ? 'now' : 'before', policy: before },
    ...(after === undefined ? [] : [{ side: 'after', policy: after }]),
  ].map(({ side, policy }) => ({ side, unread: policy.unread, decision: decide(policy, packet) }));
  const data = sides.map(({ side, unread, decision }) => ({
    side,
    verdict: decision.verdict,
    rewrite: decision.rewrites.map(rewriteText),
    rule: decision.rule === undefined ? null : originRecord(decision.rule),
    trace: decision.trace.map(({ stage, rule }) => ({ stage, ...originRecord(rule) })),
    assumedNotToHold: decision.assumed,
    unread,
  }));
  const text = data.flatMap((d) => [
    `${d.side}: ${d.verdict}${d.rewrite.length === 0 ? '' : ` (${d.rewrite.join(', ')})`}, by ${originText(d.rule ?? undefined)}`,
    ...d.trace.map((t) => `    ${t.stage}: ${t.file}:${t.line} "${t.text}"`),
    ...d.assumedNotToHold.map((name) => `    taken as not holding: ${name}`),
    ...(d.unread.length === 0
      ? []
      : [`    ${d.unread.length} statements were not read and could change this`]),
  ]);
  context.out.result({ packet: packetRecord(packet), sides: data }, text.join('\n'));
  if (data.length === 2) {
    const [a, b] = data.map((d) => JSON.stringify([d.verdict, d.rewrite]));
    context.exit(a === b ? ExitCode.ok : ExitCode.different);
  }
}
