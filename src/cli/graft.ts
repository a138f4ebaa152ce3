import { availableParallelism } from 'node:os';
import type { Command } from 'commander';
import { decisionRule, fits, type GraftOptions, readAnchor, readDecision, readSelector } from '#core/config';
import { TuckpointError } from '#core/errors';
import {
  carryOut,
  type PlannedDevice,
  type PlannedTarget,
  planForDevice,
  prepareGraft,
  readingIn,
  readPromises,
} from '#runs';
import {
  configurationFrom,
  languagesOf,
  type ReadingOptions,
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
import { loadedForReal } from './graft-load.ts';
import { isUnproved, plansText, type ShownPlan, shownPlan } from './graft-plan-text.ts';
import { plannedData } from './graft-record.ts';
import { finishGroup } from './graft-result.ts';
import { graftUndoCommand, widthOf } from './graft-undo.ts';
import { inOrder } from './in-order.ts';
import { isMeant } from './is-meant.ts';
import { progressTeller } from './progress.ts';
import { CAUTION, withWords, wordsOf } from './words.ts';

interface Options extends ReadingOptions {
  from?: string;
  take?: string[];
  onto?: string[];
  onCollision?: string[];
  place: string;
  match?: string[];
  fill?: string[];
  promises?: string;
  dryRun?: boolean;
  yes?: boolean;
  canary?: string;
  width: string;
}

/** `graft --from CONFIGURATION --take SELECTOR… --onto DEVICE…` */
export function graftCommand(program: Command, context: CliContext): void {
  const graft = program
    .command('graft')
    .summary('carry chosen parts of a configuration onto devices, with all that they need')
    .description(
      `carry chosen parts of a configuration onto devices, with all that they need and nothing else. The plan says for each device what changes, in objects and in traffic, before anything happens; then each device is a run of its own. ${CAUTION}`,
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
    .option('--dry-run', 'show the plan and end; no device is touched')
    .option('--yes', 'carry the plan out without asking (needed where nobody can be asked)')
    .option('--canary <device>', 'this device goes first and alone (default: the first of several)')
    .option('--width <n>', 'how many devices at once after that', '1')
    .action((options: Options) => graftOnto(context, options));
  withReadingOptions(withWords(graft));
  graftUndoCommand(graft, context);
}

async function graftOnto(context: CliContext, options: Options): Promise<void> {
  const width = widthOf(options.width);
  const words = wordsOf({ ...options });
  const from = wanted(options.from, '--from');
  const take = wanted(options.take, '--take').map(readSelector);
  const source = await configurationFrom(context, from);
  const languages = await languagesOf(options);
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
    mayBreak: words.accepted?.brokenPromises === true,
    reading: readingIn(languages),
  };
  const shown: ShownPlan[] = [];
  const records: unknown[] = [];
  const targets: (PlannedTarget | null)[] = [];
  const plans = inOrder(devices, availableParallelism(), async ({ name }) =>
    loadedForReal(await planForDevice(bench.runs, prepared, name, onto), onto.reading),
  );
  for await (const { planned, loaded } of plans) {
    context.out.progress(`   … planned ${shown.length + 1} of ${devices.length}: ${planned.device}`);
    shown.push(shownPlan(planned, loaded));
    if (context.out.json) records.push({ ...plannedData(planned), loaded });
    targets.push(targetOf(planned, words.accepted?.unproved === true));
  }
  const unused = fillIns.placeholders.filter((text) => !prepared.occurring.includes(text));
  for (const text of unused) context.out.warn(`Fill-in "${text}" occurs nowhere in what is carried.`);
  const data = { from: source.named, choice: choiceData(prepared), devices: records };
  const text = `${choiceText(prepared, source.named)}\n\n${plansText(shown)}`;
  const clear = targets.filter((target) => target !== null);
  const isClear = clear.length === targets.length;
  if (options.dryRun === true || !isClear) {
    context.out.result(data, text);
    if (!isClear) context.exit(ExitCode.undecided);
    return;
  }
  context.out.line(`${text}\n`);
  if (options.yes !== true && !(await isMeant(context, clear.length))) {
    const refused = 'No device was touched. Say yes when asked, or give --yes, to carry the plan out.';
    context.out.result(data, refused);
    context.exit(ExitCode.undecided);
    return;
  }
  const done = await carryOut(bench.runs, clear, {
    title: `graft ${take.map((selector) => selector.text).join(', ')} from ${source.named}`,
    canary: options.canary ?? (clear.length > 1 ? clear[0]!.device : null),
    width,
    replan: async (device) => {
      const anew = await planForDevice(bench.runs, prepared, device, onto);
      const { planned: again } = await loadedForReal(anew, onto.reading);
      if (again.plan === null) throw new TuckpointError('cli/no-source', again.why);
      return again.plan;
    },
    tell: (event, device) => progressTeller(context.out, width > 1 ? device : undefined)(event),
    promises: onto.promises,
    ...(languages === undefined ? {} : { languages }),
    ...words,
  });
  await finishGroup(context, done, data);
}

/** What is carried out on a device; null when its plan stops, or what it does to traffic could not be decided. */
function targetOf({ plan }: PlannedDevice, unproved: boolean): PlannedTarget | null {
  if (plan === null || plan.problems.length > 0) return null;
  if (isUnproved(plan) && !unproved) return null;
  const { device, plannedOn, before, after } = plan;
  return { device, plannedOn, before, after, problems: [] };
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
