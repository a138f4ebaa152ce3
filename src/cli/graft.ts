import type { Command } from 'commander';
import { decisionRule, fits, type GraftOptions, readAnchor, readDecision, readSelector } from '#core/config';
import { TuckpointError } from '#core/errors';
import { type PlannedDevice, planForDevice, prepareGraft, readPromises } from '#runs';
import {
  configurationFrom,
  type ReadingOptions,
  readingOf,
  readSource,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { DEVICES, devicesNamed } from './devices-named.ts';
import { ExitCode } from './exit-codes.ts';
import { fileText } from './file-text.ts';
import { fillInsNamed } from './fill-ins-named.ts';
import { choiceData, choiceText } from './graft-choice.ts';
import { plansText } from './graft-plan-text.ts';
import { plannedData } from './graft-record.ts';

interface Options extends ReadingOptions {
  from?: string;
  take?: string[];
  onto?: string[];
  onCollision?: string[];
  place: string;
  match?: string[];
  fill?: string[];
  promises?: string;
  acceptBrokenPromises?: boolean;
  dryRun?: boolean;
}

/** `graft --from CONFIGURATION --take SELECTOR… --onto DEVICE…` */
export function graftCommand(program: Command, context: CliContext): void {
  withReadingOptions(program.command('graft'))
    .summary('carry chosen parts of a configuration onto devices, with all that they need')
    .description(
      `carry chosen parts of a configuration onto devices, with all that they need and nothing else. The plan says for each device what changes, in objects and in traffic, before anything happens.`,
    )
    .option('--from <configuration>', `where the parts come from: ${SOURCES}`)
    .option(
      '--take <selector...>',
      'KIND:NAME, section:NAME, kind:KIND, needs:…, uses:… or all; NAME may hold * and ?',
    )
    .option('--onto <device...>', DEVICES)
    .option(
      '--on-collision <decision...>',
      'where a device has the name with another value: keep, take, rename, rename:NAME or stop, for all or as [KIND:]NAME=DECISION (default: stop)',
    )
    .option(
      '--place <anchor>',
      'where rules go: neighbours (as in the source), first, last, before:RULE or after:RULE',
      'neighbours',
    )
    .option('--match <name...>', 'objects for which theirs of the same value may serve, whatever its name')
    .option(
      '--fill <fill-in...>',
      'texts that differ per device: a .yaml or .csv file, TEXT=VALUE, or TEXT=own.NAME',
    )
    .option('--promises <file>', 'promises that must hold on each device afterwards')
    .option('--accept-broken-promises', 'your explicit word that promises may break')
    .option('--dry-run', 'show the plan and end; no device is touched')
    .action((options: Options) => graft(context, options));
}

async function graft(context: CliContext, options: Options): Promise<void> {
  const from = wanted(options.from, '--from');
  const take = wanted(options.take, '--take').map(readSelector);
  const source = await configurationFrom(context, from);
  const fillIns = await fillInsNamed(options.fill ?? []);
  const prepared = prepareGraft(await readSource(source, options), {
    take,
    decide: decisionRule((options.onCollision ?? []).map(readDecision)),
    anchor: readAnchor(options.place),
    matchMay: matchRule(options.match ?? []),
    placeholders: fillIns.placeholders,
  });
  const bench = await context.workbench();
  const devices = await devicesNamed(bench.store, wanted(options.onto, '--onto'));
  const onto = {
    fillIns,
    promises:
      options.promises === undefined
        ? []
        : readPromises(await fileText(options.promises, 'promises'), options.promises),
    mayBreak: options.acceptBrokenPromises === true,
    reading: await readingOf(options),
  };
  const planned: PlannedDevice[] = [];
  for (const { name } of devices) {
    context.out.progress(`   … planning ${planned.length + 1} of ${devices.length}: ${name}`);
    planned.push(await planForDevice(bench.runs, prepared, name, onto));
  }
  const unused = fillIns.placeholders.filter((text) => !prepared.occurring.includes(text));
  for (const text of unused) context.out.warn(`Fill-in "${text}" occurs nowhere in what is carried.`);
  context.out.result(
    { from: source.named, choice: choiceData(prepared), devices: planned.map(plannedData) },
    `${choiceText(prepared, source.named)}\n\n${plansText(planned)}`,
  );
  context.exit(codeOf(planned));
}

/** A plan that stops at a device, or could not be decided, asks a person. */
function codeOf(planned: readonly PlannedDevice[]): number {
  const sure = planned.every(
    ({ plan }) => plan !== null && plan.problems.length === 0 && plan.traffic?.verdict !== 'undecided',
  );
  return sure ? ExitCode.ok : ExitCode.undecided;
}

function matchRule(patterns: readonly string[]): GraftOptions['matchMay'] {
  return ({ name }) => {
    const own = name.slice(name.lastIndexOf(' ') + 1);
    return patterns.some((pattern) => fits(pattern, name) || fits(pattern, own));
  };
}

function wanted<T>(value: T | undefined, option: string): T {
  if (value !== undefined) return value;
  throw new TuckpointError('cli/bad-option', `${option} is missing.`, {
    advice: 'Say where from, what to take, and onto which devices: --from, --take, --onto.',
  });
}
