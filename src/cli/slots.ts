import type { Command } from 'commander';
import { drawSlots, type Explanation, explain, type SlotState } from '#core/slots';
import { compareTraffic, firstSight, type TrafficAnswer } from '#runs';
import { type ReadingOptions, readingOf, withReadingOptions } from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { run } from './run-commands.ts';

interface Options extends ReadingOptions {
  release?: string;
}

/** `slots DEVICE` shows what each slot holds and would hold; `slots keep DEVICE` and `slots recover DEVICE` are runs. */
export function slotsCommand(program: Command, context: CliContext): void {
  const slots = program
    .command('slots')
    .description('what each slot holds, and what it would hold after each operation')
    .argument('[device]')
    .option('--release <release>', 'speak of installing this release')
    .action(async (name: string | undefined, options: Options) => {
      if (name === undefined) return slots.help();
      await showSlots(context, name, options);
    });
  withReadingOptions(slots);
  run(slots.command('keep <device>'), 'copy the running slot to the spare', 'keep', context);
  run(slots.command('recover <device>'), 'copy the spare slot over the running one', 'recover', context);
}

async function showSlots(context: CliContext, name: string, options: Options): Promise<void> {
  const { release } = options;
  const reading = await readingOf(options);
  const bench = await context.workbench();
  const device = await bench.store.devices.get(name);
  const link = await bench.link(device);
  try {
    const { identity, slots: state } = await firstSight(bench.store, name, link, bench.now(), null);
    const spare = link.facts.canCaptureSpare
      ? compareTraffic(await link.capture('running'), await link.capture('spare'), reading)
      : null;
    const operations = explain(state, link.facts.kind, release === undefined ? {} : { release });
    context.out.result(
      { device: name, identity, slots: state, spare, operations },
      [
        `${name}, ${identity.model}, seen ${bench.now()}`,
        '',
        drawSlots(state),
        ...(state.slots.length === 2 ? spareLines(spare) : []),
        ...operations.map((o) => operationText(state, o)),
      ].join('\n'),
    );
  } finally {
    await link.close();
  }
}

function operationText(now: SlotState, { title, leaves, refusal }: Explanation): string {
  if (refusal !== null) return `${title}: refused. ${refusal.sentence} ${refusal.advice}\n`;
  if (leaves === null) return `${title}\n`;
  return `${title}:\n${drawSlots(now, leaves).split('\n\n').at(-1) ?? ''}`;
}

/** Rows shown here; `tuckpoint traffic DEVICE@running DEVICE@spare` has them all. */
const SHOWN = 8;

function spareLines(spare: TrafficAnswer | null): string[] {
  if (spare === null)
    return [
      'What traffic booting the spare would change is not known: its configuration cannot be captured.',
      '',
    ];
  const more = spare.rows.length > SHOWN ? [`  and ${spare.rows.length - SHOWN} more rows`] : [];
  return [
    `Booting the spare now: ${spare.sentence}`,
    ...spare.rows.slice(0, SHOWN).map((row) => `  ${row}`),
    ...more,
    '',
  ];
}
