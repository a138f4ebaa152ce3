import type { Command } from 'commander';
import { type Concern, concernsOf, goRound, roundDevices } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { progressTeller } from './progress.ts';
import { table } from './table.ts';

/** `round [devices…]`: captures and reads each, and ends in concerns. `concerns`: what is known without asking anyone. */
export function roundCommands(program: Command, context: CliContext): void {
  program
    .command('round [devices...]')
    .description(
      'a pass over the estate (or the devices named): capture and reading of each; it ends in concerns',
    )
    .action(async (named: string[]) => {
      const bench = await context.workbench();
      for (const name of named) await bench.store.devices.get(name);
      const names = named.length > 0 ? named : await roundDevices(bench.runs);
      const result = await goRound(bench.runs, names, progressTeller(context.out));
      const rows = result.devices.map((d) => [d.device, d.capture ?? '-', d.reason]);
      context.out.result(
        result,
        `\n${table(['device', 'capture', 'result'], rows)}\n\n${concernsText(result.concerns)}`,
      );
      if (result.concerns.length > 0) context.exit(ExitCode.different);
    });

  program
    .command('concerns')
    .description('what needs attention, by what is known without asking any device')
    .action(async () => {
      const concerns = await concernsOf((await context.workbench()).runs);
      context.out.result(concerns, concernsText(concerns));
      if (concerns.length > 0) context.exit(ExitCode.different);
    });
}

function concernsText(concerns: readonly Concern[]): string {
  if (concerns.length === 0) return 'No concern.';
  return concerns
    .map(({ device, weight, reason, next }) => `${weight}: ${device}: ${reason}\n     next: ${next}`)
    .join('\n');
}
