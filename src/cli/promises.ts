import type { Command } from 'commander';
import {
  checkPromises,
  gatherRows,
  type Naming,
  originText,
  type PromiseCheck,
  packetRecord,
  packetText,
  rowRecord,
  rowText,
  type TrafficPromise,
} from '#core/traffic';
import { namingOf } from '#dialects';
import { endsOfTheWay, readPromises, wayIn } from '#runs';
import {
  configurationFrom,
  policyIn,
  policyOf,
  type ReadingOptions,
  readSource,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { budgetOf, type EffortOption, MORE_EFFORT, withEffort } from './effort.ts';
import { ExitCode } from './exit-codes.ts';
import { fileText } from './file-text.ts';

interface Options extends ReadingOptions, EffortOption {
  device?: string;
  before?: string;
}

/** `promises check FILE CONFIGURATION…` */
export function promisesCommand(program: Command, context: CliContext): void {
  const promises = program.command('promises').description('traffic that must pass, or must not');
  withEffort(withReadingOptions(promises.command('check <file> <configurations...>')))
    .description(`check a file of promises on configurations. Each is ${SOURCES}`)
    .option(
      '--device <name>',
      'whose configuration a file is: the way from the workbench to it is checked too',
    )
    .option(
      '--before <configuration>',
      'the configurations are planned changes of this one: say of each promise whether it was kept before',
    )
    .action(async (file: string, named: string[], options: Options) => {
      const wanted = readPromises(await fileText(file, 'promises'), file);
      const results = [];
      for (const name of named) results.push(await checkOne(context, wanted, name, options));
      context.out.result(results.map(dataOf), results.map(textFor).join('\n\n'));
      const answers = results.flatMap((r) => r.checks.map((c) => c.answer));
      if (answers.includes('broken')) context.exit(ExitCode.different);
      if (answers.includes('undecided')) context.exit(ExitCode.undecided);
    });
}

interface Result {
  readonly configuration: string;
  readonly checks: readonly PromiseCheck[];
  readonly naming: Naming;
  /** The answers on the configuration before a planned change, in the order of `checks`; null when none was named. */
  readonly before: readonly PromiseCheck['answer'][] | null;
  /** Why the way from the workbench was not checked; null when it was. */
  readonly wayNotChecked: string | null;
}

async function checkOne(
  context: CliContext,
  promises: readonly TrafficPromise[],
  named: string,
  options: Options,
): Promise<Result> {
  const source = await configurationFrom(context, named);
  const read = await readSource(source, options);
  const earlier = options.before === undefined ? null : await configurationFrom(context, options.before);
  const { implied, wayNotChecked } = await impliedPromises(
    context,
    options.device ?? source.device ?? earlier?.device,
  );
  const all = [...implied, ...promises];
  const budget = budgetOf(options);
  const before = earlier === null ? null : checkPromises(await policyOf(earlier, options), all, budget);
  return {
    configuration: named,
    checks: checkPromises(policyIn(source, read), all, budget),
    naming: namingOf(read),
    before: before?.map((check) => check.answer) ?? null,
    wayNotChecked,
  };
}

/** The way from the workbench to a device, or why it cannot be checked. */
async function impliedPromises(
  context: CliContext,
  device: string | undefined,
): Promise<{ implied: readonly TrafficPromise[]; wayNotChecked: string | null }> {
  if (device === undefined) return { implied: [], wayNotChecked: 'no device is named (give --device)' };
  const record = await (await context.workbench()).store.devices.get(device);
  const ends = await endsOfTheWay(record);
  return ends === null
    ? { implied: [], wayNotChecked: `the address of ${device} is not known from here` }
    : { implied: wayIn(record, ends.workbench, ends.device), wayNotChecked: null };
}

function dataOf({ configuration, checks, naming, before, wayNotChecked }: Result) {
  return {
    configuration,
    wayNotChecked,
    promises: checks.map((check, n) => ({
      says: check.promise.words,
      must: check.promise.must,
      answer: check.answer,
      ...(before === null ? {} : { answerBefore: before[n] }),
      exact: check.exact,
      unread: check.unread,
      rows: check.rows.map((row) => rowRecord(row, naming)),
      complete: check.complete,
      packets: check.packets.map(packetRecord),
    })),
  };
}

/** How many rows of a broken promise are shown. */
const SHOWN = 5;

function textFor({ configuration, checks, naming, before, wayNotChecked }: Result): string {
  const broken = checks.filter((check) => check.answer === 'broken').length;
  const lines = [
    `${configuration}: ${broken === 0 ? 'no promise is broken' : `${broken} of ${checks.length} promises are broken`}.`,
  ];
  for (const [n, check] of checks.entries()) {
    const but = check.exact ? '' : `, but for ${check.unread.length} statements not read`;
    lines.push(
      `  ${check.answer}${sinceText(check.answer, before?.[n])}${but}: ${check.promise.words} (must ${check.promise.must})`,
    );
    const rows = gatherRows(check.rows);
    for (const { row, families } of rows.slice(0, SHOWN)) {
      lines.push(
        `      ${row.before.verdict}: ${rowText(row, naming, families)}`,
        `        by ${originText(row.ruleBefore?.origin)}`,
      );
    }
    if (rows.length > SHOWN) lines.push(`      and ${rows.length - SHOWN} more rows`);
    for (const packet of check.packets) lines.push(`      for example ${packetText(packet)}`);
  }
  if (checks.some(({ answer }) => answer === 'undecided')) lines.push(`  ${MORE_EFFORT}`);
  if (wayNotChecked !== null)
    lines.push(`  not checked: the way from the workbench to the device, since ${wayNotChecked}.`);
  return lines.join('\n');
}

/** What a planned change does to a promise. */
function sinceText(now: PromiseCheck['answer'], before: PromiseCheck['answer'] | undefined): string {
  if (before === undefined) return '';
  return now === before ? ' as before the change' : ` by the change (${before} before)`;
}
