import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { undoGraft } from '#runs';
import type { CliContext } from './context.ts';
import { finishGroup } from './graft-result.ts';
import { progressTeller } from './progress.ts';
import { CAUTION, withWords, wordsOf } from './words.ts';

/** `graft undo RUN|GROUP`: each device gets the configuration from before it, by a run with the same checks. */
export function graftUndoCommand(graft: Command, context: CliContext): void {
  withWords(graft.command('undo <run-or-group>'))
    .summary('put back what devices held before a graft or a restore')
    .description(
      `put the configuration from before a graft or a restore back: of one run, or of all devices of a group. A device that was changed since is refused. ${CAUTION}`,
    )
    .option('--width <n>', 'how many devices at once', '1')
    .action(async (id: string, options: Record<string, unknown>) => {
      const bench = await context.workbench();
      const tell = progressTeller(context.out);
      const done = await undoGraft(bench.runs, id, {
        width: widthOf(options.width),
        tell: (event) => tell(event),
        ...wordsOf(options),
      });
      await finishGroup(context, done, {}, false);
    });
}

/** Throws `cli/bad-option`. */
export function widthOf(text: unknown): number {
  const width = Number(text);
  if (Number.isInteger(width) && width >= 1 && width <= 1000) return width;
  throw new TuckpointError('cli/bad-option', `"${String(text)}" is no number of devices from 1 to 1000.`, {
    place: { field: '--width' },
  });
}
