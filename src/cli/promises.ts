import type { Command } from 'commander';
import {
  checkPromises,
  originText,
  type PromiseCheck,
  packetText,
  rowRecord,
  rowText,
  type TrafficPromise,
} from '#core/traffic';
import { endsOfTheWay, readPromises, wayIn } from '#runs';
import {
  configurationFrom,
  policyOf,
  type ReadingOptions,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { fileText } from './file-text.ts';

interface Options extends ReadingOptions {
  device?: string;
}

/** `promises check FILE CONFIGURATION…` */
export function promisesCommand(program: Command, context: CliContext): void {
  const promises = program.command('promises').description('traffic that must pass, or must not');
  withReadingOptions(promises.command('check <file> <configurations...>'))
    .description(`check a file of promises on configurations. Each is ${SOURCES}`)
    .option(
      '--device <name>',
      'whose configuration a file is: the way from the workbench to it is checked too',
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
  const policy = await policyOf(source, options);
  const device = options.device ?? source.device;
  if (device === undefined) {
    const checks = checkPromises(policy, promises);
    return { configuration: named, checks, wayNotChecked: 'no device is named (give --device)' };
  }
  const record = await (await context.workbench()).store.devices.get(device);
  const ends = await endsOfTheWay(record);
  const implied = ends === null ? [] : wayIn(record, ends.workbench, ends.device);
  return {
    configuration: named,
    checks: checkPromises(policy, [...implied, ...promises]),
    wayNotChecked: ends === null ? `the address of ${device} is not known from here` : null,
  };
}

function dataOf({ configuration, checks, wayNotChecked }: Result) {
  return {
    configuration,
    wayNotChecked,
    promises: checks.map((check) => ({
      says: check.promise.words,
      must: check.promise.must,
      answer: check.answer,
      exact: check.exact,
      unread: check.unread,
      rows: check.rows.map((row) => rowRecord(row)),
      complete: check.complete,
    })),
  };
}

/** How many rows of a broken promise are shown. */
const SHOWN = 5;

function textFor({ configuration, checks, wayNotChecked }: Result): string {
  const broken = checks.filter((check) => check.answer === 'broken').length;
  const lines = [
    `${configuration}: ${broken === 0 ? 'no promise is broken' : `${broken} of ${checks.length} promises are broken`}.`,
  ];
  for (const check of checks) {
    const but = check.exact ? '' : `, but for ${check.unread.length} statements not read`;
    lines.push(`  ${check.answer}${but}: ${check.promise.words} (must ${check.promise.must})`);
    for (const row of check.rows.slice(0, SHOWN)) {
      lines.push(
        `      ${row.before.verdict}: ${rowText(row)}`,
        `        by ${originText(row.ruleBefore?.origin)}`,
      );
    }
    if (check.rows.length > SHOWN) lines.push(`      and ${check.rows.length - SHOWN} more rows`);
    for (const packet of check.packets) lines.push(`      for example ${packetText(packet)}`);
  }
  if (wayNotChecked !== null)
    lines.push(`  not checked: the way from the workbench to the device, since ${wayNotChecked}.`);
  return lines.join('\n');
}
