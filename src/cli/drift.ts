import type { Command } from 'commander';
import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { TuckpointError } from '#core/errors';
import { readCapture } from '#dialects';
import { commonest, formsIn, planForDevice, prepareGraft } from '#runs';
import {
  type ConfigurationSource,
  configurationFrom,
  type ReadingOptions,
  readingOf,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext, Workbench } from './context.ts';
import { DEVICES, devicesNamed } from './devices-named.ts';
import { driftData, driftText, type ShownDrift, shownDrift } from './drift-text.ts';
import { ExitCode } from './exit-codes.ts';
import { fillInsNamed } from './fill-ins-named.ts';

interface Options extends ReadingOptions {
  of?: string[];
  across?: string[];
  from?: string;
  fill?: string[];
  place: string;
}

/** `drift --of SELECTOR… --across DEVICE…`: who holds shared parts, who differs, who lacks them. */
export function driftCommand(program: Command, context: CliContext): void {
  const drift = program
    .command('drift')
    .summary('which devices hold shared parts alike, which differ and how')
    .description(
      'which devices hold shared parts alike, which differ and how (objects and traffic), and which lack them, by their last captures',
    )
    .option('--of <selector...>', 'the shared parts, as for "graft --take"')
    .option('--across <device...>', DEVICES)
    .option(
      '--from <configuration>',
      `the yardstick (default: of the devices, the one most like the others): ${SOURCES}`,
    )
    .option('--fill <fill-in...>', 'texts that may differ per device, as for "graft --fill"')
    .option('--place <anchor>', 'where missing rules would go, as for "graft --place"', 'neighbours')
    .action((options: Options) => showDrift(context, options));
  withReadingOptions(drift);
}

async function showDrift(context: CliContext, options: Options): Promise<void> {
  const selectors = wanted(options.of, '--of');
  const take = selectors.map(readSelector);
  const bench = await context.workbench();
  const names = (await devicesNamed(bench.store, wanted(options.across, '--across'))).map(({ name }) => name);
  const reading = await readingOf(options);
  const source = await configurationFrom(
    context,
    options.from ?? (await yardstick(bench, names, (files) => formsIn(readCapture(files, reading), take))),
  );
  const fillIns = await fillInsNamed(options.fill ?? []);
  const prepared = prepareGraft(readCapture(source.files, reading), {
    take,
    decide: decisionRule([readDecision('take')]),
    anchor: readAnchor(options.place),
    matchMay: () => false,
    placeholders: fillIns.placeholders,
  });
  const devices: ShownDrift[] = [];
  for (const name of names) {
    context.out.progress(`   … ${devices.length + 1} of ${names.length}: ${name}`);
    const onto = { fillIns, promises: [], mayBreak: true, reading };
    const planned = await planForDevice(bench.runs, prepared, name, onto);
    devices.push(shownDrift(planned, context.out.json));
  }
  const unused = fillIns.placeholders.filter((text) => !prepared.occurring.includes(text));
  for (const text of unused) context.out.warn(`Fill-in "${text}" occurs nowhere in the shared parts.`);
  const more = [
    ...(options.fill === undefined ? [] : [`--fill ${options.fill.map((one) => `'${one}'`).join(' ')}`]),
    ...(options.place === 'neighbours' ? [] : [`--place '${options.place}'`]),
  ];
  const asked = { from: source.named, selectors, prepared, more };
  context.out.result(driftData(asked, devices), driftText(asked, devices));
  context.exit(codeOf(devices));
}

/** The device whose last capture is most like the others'. Captures are read one after the other: there may be many. */
async function yardstick(
  bench: Workbench,
  names: readonly string[],
  formsOf: (files: ConfigurationSource['files']) => readonly string[],
): Promise<string> {
  const captured: string[] = [];
  const forms: (readonly string[])[] = [];
  for (const name of names) {
    const last = (await bench.archive.list(name)).at(-1);
    if (last === undefined) continue;
    captured.push(name);
    forms.push(formsOf((await bench.archive.get(last.id)).files));
  }
  const best = commonest(forms);
  if (best !== null) return captured[best]!;
  throw new TuckpointError('config/nothing-selected', 'None of the devices holds any of these parts.', {
    place: { field: '--of' },
    advice:
      captured.length === 0
        ? 'The archive holds no capture of them: take some with "tuckpoint capture".'
        : 'Name a yardstick that does with --from.',
  });
}

function codeOf(devices: readonly ShownDrift[]): number {
  if (devices.some(({ apart }) => apart)) return ExitCode.different;
  return devices.every(({ level }) => level === true) ? ExitCode.ok : ExitCode.undecided;
}

function wanted<T>(value: T | undefined, option: string): T {
  if (value !== undefined) return value;
  throw new TuckpointError('cli/bad-option', `${option} is missing.`, {
    advice: 'Say which parts, and across which devices: --of, --across.',
  });
}
