import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { DEFAULT_BUDGET, type TrafficBudget } from '#core/traffic';

/** `--effort TIMES`: how much work a question about traffic is worth before it is left open. */
export interface EffortOption {
  readonly effort?: string;
}

/** What to do about a question that was left open. */
export const MORE_EFFORT = 'More work can be given to what was left open: --effort N does N times the usual.';

/** Adds the option of `EffortOption` to a command. */
export function withEffort(command: Command): Command {
  return command.option(
    '--effort <times>',
    'do that many times the usual work (and use the memory it takes) before a question is left open',
  );
}

/** The usual budget that many times. Throws `cli/bad-option`. */
export function budgetOf({ effort }: EffortOption, usual: TrafficBudget = DEFAULT_BUDGET): TrafficBudget {
  if (effort === undefined) return usual;
  const times = Number(effort);
  if (!(times > 0 && times <= 1000)) {
    throw new TuckpointError('cli/bad-option', `"${effort}" is no effort.`, {
      advice: 'Give a number above 0 and up to 1000: that many times the usual work.',
    });
  }
  const { work, nodes, rows } = usual;
  return { work: work * times, nodes: nodes * times, rows: rows * times };
}
