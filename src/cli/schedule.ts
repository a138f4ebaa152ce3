import type { Command } from 'commander';
import { ROUND, roundDue } from '#runs';
import type { CliContext } from './context.ts';
import { HERE, type RecurrenceOptions, recurrenceOf, recurrenceText } from './recurrence.ts';

/** `schedule set | show | clear`: when `serve` goes on a round. */
export function scheduleCommand(program: Command, context: CliContext): void {
  const schedule = program
    .command('schedule')
    .description('when "tuckpoint serve" goes on a round by itself');

  schedule
    .command('set <rule>')
    .description('set the recurrence, such as "FREQ=DAILY;BYHOUR=3;BYMINUTE=30" (RFC 5545)')
    .option('--zone <zone>', 'time zone; its wall clock decides, also when the clocks change', HERE)
    .option('--start <time>', 'local time from which it counts, such as 2026-01-01T00:00:00 (default: today)')
    .action(async (rule: string, options: RecurrenceOptions) => {
      const { store, now } = await context.workbench();
      const { recurrence, next } = recurrenceOf(rule, options, now());
      await store.schedules.set(ROUND, { ...recurrence, setAt: now() });
      context.out.result(
        { ...recurrence, next },
        `Rounds: ${recurrenceText(recurrence)}. The next one is due ${next}, while "tuckpoint serve" runs.`,
      );
    });

  schedule
    .command('show')
    .description('the recurrence, when a round was last done, and when the next one is due')
    .action(async () => {
      const bench = await context.workbench();
      const set = await bench.store.schedules.get(ROUND);
      const state = await roundDue(bench.runs);
      if (set === null || state === null) {
        context.out.result(null, 'No round is scheduled. Set one with "tuckpoint schedule set".');
        return;
      }
      const last = set.doneAt === null ? 'none was done yet' : `the last one done was due ${set.doneAt}`;
      const waiting = state.due === null ? '' : ` The one of ${state.due} waits for "tuckpoint serve".`;
      context.out.result(
        { ...set, ...state },
        `Rounds: ${recurrenceText(set)}; ${last}.${waiting} The next one: ${state.next ?? 'none, the rule has ended'}.`,
      );
    });

  schedule
    .command('clear')
    .description('go on no more rounds by itself')
    .action(async () => {
      const { store } = await context.workbench();
      const cleared = await store.schedules.clear(ROUND);
      context.out.result(
        { cleared },
        cleared ? 'No round is scheduled any more.' : 'No round was scheduled.',
      );
    });
}
