import type { Command } from 'commander';
import {
  applyRetention,
  deleteCaptures,
  insideOf,
  type KeepRules,
  nameCapture,
  previewRetention,
} from '#archive';
import type { CliContext, Workbench } from './context.ts';
import { table } from './table.ts';

interface RetentionOptions {
  allFor: string;
  daily: string;
  weekly: string;
  monthly: string;
  yearly: string;
  zone: string;
  apply?: boolean;
}

/** Captures that runs still open must be able to go back to. */
async function reserves(bench: Workbench): Promise<Set<string>> {
  const open = (await bench.store.journal.list()).filter((run) => run.state === 'open');
  const runs = new Set(open.map((run) => run.id));
  const named = open.map((run) => run.facts.captureBefore).filter((id) => typeof id === 'string');
  const taken = (await bench.archive.list()).filter((record) => record.run !== null && runs.has(record.run));
  return new Set([...named, ...taken.map((record) => record.id)]);
}

/** `archive retention | name | unname | delete`: what stays and what goes. */
export function archiveKeepingCommands(archive: Command, context: CliContext): void {
  archive
    .command('retention')
    .description('show what keep rules would delete; delete it only with --apply')
    .option('--all-for <days>', 'keep every capture of the last so many days', '30')
    .option('--daily <n>', 'the newest of each of the last n days', '60')
    .option('--weekly <n>', 'the newest of each of the last n weeks (from Monday)', '26')
    .option('--monthly <n>', 'the newest of each of the last n months', '36')
    .option('--yearly <n>', 'the newest of each of the last n years', '10')
    .option('--zone <zone>', 'time zone of days and weeks', Intl.DateTimeFormat().resolvedOptions().timeZone)
    .option('--apply', 'delete what is shown as to go')
    .action(async (options: RetentionOptions) => {
      const bench = await context.workbench();
      const inside = insideOf(bench.archive);
      const { daily, weekly, monthly, yearly, zone } = options;
      const numbers = {
        daily: Number(daily),
        weekly: Number(weekly),
        monthly: Number(monthly),
        yearly: Number(yearly),
      };
      const rules: KeepRules = { allForDays: Number(options.allFor), ...numbers, zone };
      const needed = await reserves(bench);
      const plan = await previewRetention(inside, rules, needed);
      const deleted = options.apply === true ? await applyRetention(inside, plan, rules, needed) : [];
      const going = plan.filter((decision) => !decision.keep).length;
      const rows = plan.map(({ record, keep, because }) => [
        record.id,
        record.device,
        record.at,
        keep ? 'stays' : 'goes',
        keep ? because.join(', ') : 'no rule keeps it',
      ]);
      const end =
        options.apply === true
          ? `${deleted.length} captures deleted.`
          : `${going} of ${plan.length} captures would go. Nothing was deleted: add --apply.`;
      context.out.result(
        {
          rules,
          deleted,
          plan: plan.map(({ record, keep, because }) => ({
            id: record.id,
            device: record.device,
            at: record.at,
            keep,
            because,
          })),
        },
        `${table(['capture', 'device', 'taken', '', 'because'], rows)}\n\n${end}`,
      );
    });

  archive
    .command('name <capture> <name>')
    .description('give a capture a name; a named capture is never deleted by a rule')
    .action(async (id: string, name: string) => {
      await nameCapture(insideOf((await context.workbench()).archive), id, name);
      context.out.result({ id, name }, `${id} is named ${JSON.stringify(name)}.`);
    });

  archive
    .command('unname <capture>')
    .description('take its name away')
    .action(async (id: string) => {
      await nameCapture(insideOf((await context.workbench()).archive), id, null);
      context.out.result({ id, name: null }, `${id} has no name.`);
    });

  archive
    .command('delete <captures...>')
    .description('delete captures for good')
    .requiredOption('--why <reason>', 'the reason, which stays in the manifest')
    .option('--even-protected', 'also a named one, or the last of a device')
    .action(async (ids: string[], options: { why: string; evenProtected?: boolean }) => {
      const bench = await context.workbench();
      await deleteCaptures(insideOf(bench.archive), ids, options.why, options.evenProtected === true);
      context.out.result({ deleted: ids }, `${ids.length} captures deleted.`);
    });
}
