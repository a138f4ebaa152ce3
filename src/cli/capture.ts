import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { roundDevices, startRun } from '#runs';
import type { CliContext } from './context.ts';
import { exitCodeOf } from './exit-codes.ts';
import { progressTeller } from './progress.ts';
import { codeFor } from './run-result.ts';
import { table } from './table.ts';

/** `capture DEVICE… | --all`: each device in turn; one that cannot be captured does not stop the others. */
export function captureCommand(program: Command, context: CliContext): void {
  program
    .command('capture [devices...]')
    .description('capture running configurations into the archive, verified')
    .option('--all', 'every device in your care')
    .action(async (named: string[], options: { all?: boolean }) => {
      const bench = await context.workbench();
      const names = options.all === true ? await roundDevices(bench.runs) : named;
      if (names.length === 0) {
        throw new TuckpointError('cli/bad-option', 'No device is named.', {
          advice: 'Name devices, or give --all.',
        });
      }
      for (const name of names) await bench.store.devices.get(name);
      const results = [];
      for (const device of names) {
        results.push(await captured(context, device));
      }
      context.out.result(
        results,
        table(
          ['device', 'capture', 'result'],
          results.map((r) => [r.device, r.capture ?? '-', r.reason]),
        ),
      );
    });
}

/** One device's capture. What stops it is in the result, and sets the exit code. */
async function captured(context: CliContext, device: string) {
  const bench = await context.workbench();
  try {
    const done = await startRun(
      bench.runs,
      { device, procedure: 'capture', goal: {} },
      progressTeller(context.out),
    );
    context.exit(codeFor(done));
    const { run, decision, reason, facts } = done;
    return { device, run, decision, reason, capture: facts.captureBefore ?? null };
  } catch (error) {
    // Another run may be at work on this one device.
    if (!(error instanceof TuckpointError)) throw error;
    context.out.warn(error.text);
    context.exit(exitCodeOf(error));
    return { device, run: null, decision: 'not done', reason: error.text, capture: null };
  }
}
