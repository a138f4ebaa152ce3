import type { Command } from 'commander';
import type { CaptureFile, CaptureRecord } from '#archive';
import { compareCaptures, readCapture } from '#dialects';
import { configurationChanges } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';

/** How a capture differs from the one before it on the time line. */
interface Change {
  /** Objects, where a dialect reads the files. */
  readonly objects: readonly { readonly change: string; readonly kind: string; readonly name: string }[];
  /** Statements that the dialect does not understand, and that differ. */
  readonly notUnderstood: number;
  /** Files no dialect reads, or whose objects are the same: lines put in and taken out; null where it is no text. */
  readonly files: readonly {
    readonly name: string;
    readonly change: string;
    readonly added: number | null;
    readonly removed: number | null;
  }[];
}

interface Moment {
  readonly record: CaptureRecord;
  /** Null: the first, or the same as the one before. */
  readonly change: Change | null;
  readonly same: boolean;
}

function countLines(difference: string | null): { added: number | null; removed: number | null } {
  if (difference === null) return { added: null, removed: null };
  const lines = difference.split('\n');
  const count = (sign: string) =>
    lines.filter((line) => line.startsWith(sign) && !line.startsWith(sign.repeat(3))).length;
  return { added: count('+'), removed: count('-') };
}

function changeBetween(before: readonly CaptureFile[], after: readonly CaptureFile[]): Change {
  const { parts } = compareCaptures(readCapture(before), readCapture(after));
  const objects = parts.flatMap(({ difference }) =>
    difference.changes.map(({ change, kind, before: then, after: now }) => ({
      change,
      kind,
      name: (now ?? then)!.name,
    })),
  );
  const files = configurationChanges(before, after).map(({ name, change, difference }) => ({
    name,
    change,
    ...countLines(difference),
  }));
  const notUnderstood = parts.reduce((sum, { difference }) => sum + difference.opaque.length, 0);
  return { objects, notUnderstood, files };
}

/** Who or what is behind a capture, in words. */
function by(record: CaptureRecord): string {
  if (record.source === 'unplanned') return 'unplanned: changed outside any run';
  if (record.run !== null) return `run ${record.run}`;
  return record.source;
}

const SHOWN = 6;

function momentText({ record, change, same }: Moment): string[] {
  const head = `${record.at}  ${record.id}  ${by(record)}${record.release === null ? '' : `, release ${record.release}`}`;
  if (same) return [`${head}: unchanged`];
  if (change === null) return [`${head}: first shown`];
  const objects = change.objects.slice(0, SHOWN).map((one) => `    ${one.change} ${one.kind} ${one.name}`);
  if (change.objects.length > SHOWN) objects.push(`    and ${change.objects.length - SHOWN} more objects`);
  const files = change.files.map(({ name, change: how, added, removed }) =>
    added === null
      ? `    ${name}: ${how}, not a text`
      : `    ${name}: ${how}; lines: ${added} in, ${removed} out`,
  );
  const unread =
    change.notUnderstood > 0 ? [`    ${change.notUnderstood} statements differ that are not understood`] : [];
  return [head, ...objects, ...unread, ...files];
}

/** `history DEVICE`: its captures on a time line, newest first, each with what changed and by whom. */
export function historyCommand(program: Command, context: CliContext): void {
  program
    .command('history <device>')
    .description('captures of a device on a time line, with who or what changed what')
    .option('--most <n>', 'at most this many captures', '30')
    .option('--text', 'also the text difference of each file')
    .action(async (device: string, options: { most: string; text?: boolean }) => {
      const bench = await context.workbench();
      const all = await bench.archive.list(device);
      if (all.length === 0) {
        context.out.result([], `The archive holds no capture of ${device}.`);
        context.exit(ExitCode.badInput);
        return;
      }
      const records = all.slice(-(Number(options.most) || 30) - 1);
      const skip = records.length < all.length ? 1 : 0; // the one before the first shown, to compare with
      const moments: (Moment & { text: readonly (string | null)[] })[] = [];
      let before: readonly CaptureFile[] | null = null;
      for (const [i, record] of records.entries()) {
        const same = i > 0 && records[i - 1]!.digest === record.digest;
        const files: readonly CaptureFile[] =
          same && before !== null ? before : (await bench.archive.get(record.id)).files;
        const change = same || before === null ? null : changeBetween(before, files);
        const text =
          options.text === true && change !== null
            ? configurationChanges(before!, files).map((f) => f.difference)
            : [];
        if (i >= skip) moments.push({ record, change, same, text });
        before = files;
        context.out.progress(`   … ${i + 1} of ${records.length}`);
      }
      moments.reverse();
      context.out.result(
        moments.map(({ record, change, same, text }) => ({
          ...record,
          unchanged: same,
          change,
          ...(options.text === true ? { text } : {}),
        })),
        moments
          .flatMap((moment) => [...momentText(moment), ...moment.text.filter((one) => one !== null)])
          .join('\n'),
      );
    });
}
