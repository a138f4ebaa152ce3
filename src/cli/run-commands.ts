import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import {
  type ChosenRelease,
  type Goal,
  neverBegun,
  type ProcedureName,
  planRun,
  type Reading,
  readingIn,
  resumeRun,
  startRun,
  type Word,
  warningsFor,
} from '#runs';
import { languagesOf, withReadingOptions } from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { planText } from './plan-text.ts';
import { progressTeller } from './progress.ts';
import { chooseRelease } from './release-file.ts';
import { restorePlan } from './restore-plan.ts';
import { finish } from './run-result.ts';
import { CAUTION, withWords, wordsOf } from './words.ts';

interface RunOptions {
  dryRun?: boolean;
  report?: string;
}

/** `update`, `boot`, `restart`, `shutdown`, `capture`, `reading`, `restore` and `resume`: each is a run. */
export function runCommands(program: Command, context: CliContext): void {
  withReadingOptions(
    run(
      program.command('update <device>'),
      'update the firmware, compare, and keep it or go back',
      'update',
      context,
    ),
  )
    .requiredOption(
      '--to <release-file>',
      'release sheet (YAML or JSON), or a firmware file with FILE.sheet.yaml beside it',
    )
    .option('--old <release-file>', 'the present release, to go back to on a device with one slot')
    .option('--accept-no-reserve', 'your explicit word to go on without a reserve on a device with one slot');
  run(program.command('boot <device>'), 'boot the device from a slot', 'boot', context)
    .requiredOption('--slot <slot>', 'spare or running')
    .option('--accept-no-reserve', 'your explicit word to go on although nothing is known to go back to');
  run(
    program.command('restart <device>'),
    'restart the device and see how it is afterwards',
    'restart',
    context,
  );
  run(program.command('shutdown <device>'), 'shut the device down in order', 'shutdown', context);
  run(program.command('reading <device>'), 'take a reading', 'reading', context);
  withReadingOptions(
    withWords(
      run(
        program.command('restore <device> <capture>'),
        'bring a whole capture back onto the device',
        'restore',
        context,
      ),
    ),
  ).option(
    '--accept-warnings',
    'your explicit word to go on although the capture is of another device, model or set of interfaces',
  );

  program
    .command('resume [run]')
    .description(
      'go on with a run that a kill or a stop left unfinished (default: every one that a kill left)',
    )
    .option('--keep', 'your answer to a run that stopped to ask: keep what runs now')
    .option('--go-back', 'your answer to a run that stopped to ask: go back to the reserve')
    .action(async (id: string | undefined, options: { keep?: boolean; goBack?: boolean }) => {
      const bench = await context.workbench();
      const word = wordOf(options);
      const ids = id === undefined ? await interrupted(context) : [id];
      if (ids.length === 0) context.out.result([], 'No run is waiting to be resumed.');
      for (const each of ids) {
        const done = await resumeRun(bench.runs, each, progressTeller(context.out), word);
        await finish(context, done);
      }
      await nameNeverBegun(context, ids);
    });
}

/** Runs a procedure for each given device: the shape shared by all run commands. */
export function run(
  command: Command,
  description: string,
  procedure: ProcedureName,
  context: CliContext,
): Command {
  return command
    .summary(description)
    .description(
      `${description}. ${procedure === 'reading' || procedure === 'capture' ? '' : CAUTION}`.trim(),
    )
    .option(
      '--dry-run',
      'say what would be done, in order, with predicted slots, without touching the device',
    )
    .option('--report <file>', 'also write the report to this file (.html, .json or .txt)')
    .action(async (device: string, ...rest: unknown[]) => {
      const options = rest.at(-2) as RunOptions & Record<string, unknown>;
      const capture = typeof rest[0] === 'string' ? rest[0] : undefined;
      const bench = await context.workbench();
      const goal = await goalOf(context, options, capture);
      if (options.dryRun === true) {
        const plan = await planRun(bench.runs, { device, procedure, goal });
        const change =
          capture === undefined
            ? null
            : await restorePlan(context, device, capture, readingIn(goal.languages));
        context.out.result(
          { ...plan, ...(change === null ? {} : { change: change.data }) },
          [planText(plan), ...(change === null ? [] : ['What would change', change.text])].join('\n\n'),
        );
        return;
      }
      if (capture !== undefined) await warn(context, device, capture, readingIn(goal.languages));
      const done = await startRun(bench.runs, { device, procedure, goal }, progressTeller(context.out));
      await finish(context, done, options.report);
    });
}

/** What a person should know before the capture is brought onto the device. */
async function warn(context: CliContext, device: string, capture: string, reading: Reading): Promise<void> {
  const bench = await context.workbench();
  await bench.store.devices.get(device);
  for (const { sentence } of await warningsFor(bench.runs, device, capture, reading))
    context.out.warn(sentence);
}

async function goalOf(
  context: CliContext,
  options: Record<string, unknown>,
  capture?: string,
): Promise<Goal> {
  const release = await chosen(options.to);
  const oldRelease = await chosen(options.old);
  const bench = await context.workbench();
  const digest = capture === undefined ? undefined : (await bench.archive.get(capture)).record.digest;
  const languages = await languagesOf(options);
  return {
    ...(release === undefined ? {} : { release }),
    ...(oldRelease === undefined ? {} : { oldRelease }),
    ...wordsOf(options),
    ...(options.slot === undefined ? {} : { slot: slotOf(options.slot) }),
    ...(capture === undefined || digest === undefined ? {} : { capture, captureDigest: digest }),
    ...(languages === undefined ? {} : { languages }),
  };
}

async function chosen(file: unknown): Promise<ChosenRelease | undefined> {
  return typeof file === 'string' ? await chooseRelease(file) : undefined;
}

function slotOf(text: unknown): 'running' | 'spare' {
  if (text === 'running' || text === 'spare') return text;
  throw new TuckpointError('cli/bad-option', `"${String(text)}" is neither spare nor running.`, {
    place: { field: '--slot' },
  });
}

function wordOf(options: { keep?: boolean; goBack?: boolean }): Word | undefined {
  if (options.keep === true && options.goBack === true) {
    throw new TuckpointError('cli/bad-option', 'Give either --keep or --go-back, not both.');
  }
  return options.keep === true ? 'keep' : options.goBack === true ? 'go back' : undefined;
}

/** Runs that a kill interrupted; those that stopped to ask need a person's word or a named resume. */
async function interrupted(context: CliContext): Promise<string[]> {
  const { store } = await context.workbench();
  return (await store.journal.unfinished()).filter((run) => run.state === 'open').map((run) => run.id);
}

/** Resuming goes on with runs; of grafts onto several devices those that no run was begun for are named, once each. */
async function nameNeverBegun(context: CliContext, runs: readonly string[]): Promise<void> {
  const { runs: environment } = await context.workbench();
  const named = new Set<string>();
  for (const run of runs) {
    const left = await neverBegun(environment, run);
    if (left === null || named.has(left.group)) continue;
    named.add(left.group);
    context.out.warn(
      `Never begun of "${left.title}": ${left.devices.join(', ')}. Give the same command again for them.`,
    );
  }
}
