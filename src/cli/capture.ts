import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { startRun } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { progressTeller } from './progress.ts';
import { table } from './table.ts';

/** `capture DEVICE… | --all`: each device in turn; one that cannot be captured does not stop the others. */
export function captureCommand(program: Command, context: CliContext): void {
  program
    .command('capture [devices...]')
    .description('capture running configurations into the archive, verified')
    .option('--all', 'every device in your care')
    .action(async (named: string[], options: { all?: boolean }) => {
      const bench = await context.workbench();
      const names = options.all === true ? (await bench.store.devices.list()).map((d) => d.name) : named;
      if (names.length === 0) {
        throw new TuckpointError('cli/bad-option', 'No device is named.', {
          advice: 'Name devices, or give --all.',
        });
      }
      for (const name of names) await bench.store.devices.get(name);
      const results = [];
      for (const device of names) {
        const { run, decision, reason, facts } = await startRun(
          bench.runs,
          { device, procedure: 'capture', goal: {} },
          progressTeller(context.out),
        );
        results.push({ device, run, decision, reason, capture: facts.captureBefore ?? null });
      }
      context.out.result(
        results,
        table(
          ['device', 'capture', 'result'],
          results.map((r) => [r.device, r.capture ?? '-', r.reason]),
        ),
      );
      if (results.some((r) => r.capture === null)) context.exit(ExitCode.failed);
    });
}
