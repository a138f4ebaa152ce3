import type { Command } from 'commander';
import { type ConfigObject, withoutSecrets } from '#core/config';
import { differenceRecord, type Naming, type TrafficDifference } from '#core/traffic';
import { type CaptureComparison, compareCaptures, namingOf, trafficBetween } from '#dialects';
import { configurationChanges } from '#runs';
import {
  type ConfigurationSource,
  configurationFrom,
  type ReadingOptions,
  readSource,
  SOURCES,
  withReadingOptions,
} from './configuration-source.ts';
import type { CliContext } from './context.ts';
import { budgetOf, type EffortOption, MORE_EFFORT, withEffort } from './effort.ts';
import { ExitCode } from './exit-codes.ts';
import { type FileNaming, objectLines } from './object-difference-text.ts';
import { differenceText } from './traffic-answer.ts';

interface Options extends ReadingOptions, EffortOption {
  raw?: boolean;
}

/** `diff A B`: objects added, removed, changed, moved, renamed; traffic; and with --raw the text. */
export function diffCommand(program: Command, context: CliContext): void {
  withEffort(withReadingOptions(program.command('diff <before> <after>')))
    .summary('what differs between two configurations')
    .description(
      `what differs between two configurations, object by object and in traffic. Each is ${SOURCES}`,
    )
    .option('--raw', 'also the text difference of every file')
    .action(async (first: string, second: string, options: Options) => {
      const [before, after] = [
        await configurationFrom(context, first),
        await configurationFrom(context, second),
      ];
      const [a, b] = [await readSource(before, options), await readSource(after, options)];
      const twin = underNameOf(before, after);
      const answer: Answer = {
        objects: compareCaptures(a, twin === after ? b : await readSource(twin, options)),
        traffic: trafficBetween(a, b, budgetOf(options)),
        naming: namingOf(a, b),
        text: configurationChanges(before.files, twin.files),
        afterName: (file) => (twin === after ? file : (after.files[0]?.name ?? file)),
      };
      const told = filesToldOf(answer.objects);
      const shown = answer.text.filter((file) => options.raw === true || !told.has(file.name));
      context.out.result(dataOf(answer, shown), textOf(answer, shown));
      const differs = answer.objects.parts.some(({ difference }) => difference.changes.length > 0);
      const undecided = !differs && answer.traffic?.verdict === 'undecided';
      context.exit(
        answer.text.length === 0 ? ExitCode.ok : undecided ? ExitCode.undecided : ExitCode.different,
      );
    });
}

interface Answer {
  readonly objects: CaptureComparison;
  readonly traffic: TrafficDifference | null;
  readonly naming: Naming;
  readonly text: FileChanges;
  /** The user's name for a file of the second configuration. */
  afterName(file: string): string;
}

/** Files of which objects, or statements not understood, are said to differ. Of all others that differ the text is shown. */
function filesToldOf({ parts }: CaptureComparison): ReadonlySet<string> {
  const places = parts.flatMap(({ difference }) => [
    ...difference.changes.flatMap(({ before, after }) => [before?.place, after?.place]),
    ...difference.opaque.flatMap(({ before, after }) => [before?.place, after?.place]),
  ]);
  return new Set(places.flatMap((place) => place?.file ?? []));
}

/** A single file is compared with another single file whatever its name: under the name of the first. */
function underNameOf(before: ConfigurationSource, after: ConfigurationSource): ConfigurationSource {
  const [a, b] = [before.files[0], after.files[0]];
  if (before.files.length !== 1 || after.files.length !== 1 || a === undefined || b === undefined)
    return after;
  return a.name === b.name ? after : { ...after, files: [{ name: a.name, bytes: b.bytes }] };
}

type FileChanges = ReturnType<typeof configurationChanges>;

function dataOf({ objects, traffic, naming, afterName }: Answer, text: FileChanges) {
  return {
    objects: objects.parts.flatMap(({ dialect, difference }) =>
      difference.changes.map((change) => ({
        dialect,
        change: change.change,
        kind: change.kind,
        name: (change.after ?? change.before)?.name,
        nameBefore: change.before?.name ?? null,
        placeBefore: placeOf(change.before, (file) => file),
        placeAfter: placeOf(change.after, afterName),
        fields: withoutSecrets(change.fields),
        usedBefore: change.usersBefore.map((user) => user.name),
        usedAfter: change.usersAfter.map((user) => user.name),
      })),
    ),
    notUnderstood: objects.parts.flatMap(({ difference }) => difference.opaque),
    broken: objects.parts.flatMap(({ difference }) =>
      difference.broken.map(({ from, reference }) => ({
        from: from.name,
        to: reference.to,
        line: reference.place.line,
      })),
    ),
    traffic: traffic === null ? null : differenceRecord(traffic, naming),
    filesNotRead: objects.unread,
    text,
  };
}

function textOf({ objects, traffic, naming, text, afterName }: Answer, shown: FileChanges): string {
  if (text.length === 0) return 'The same bytes: nothing differs.';
  const lines: string[] = [];
  for (const { difference } of objects.parts) lines.push(...objectLines(difference, afterName));
  if (lines.length === 0)
    lines.push(
      'No object differs; what differs is order, layout, comments or files not read, as the text shows.',
    );
  if (traffic !== null)
    lines.push('', 'Traffic', ...differenceText(traffic, naming, MORE_EFFORT).split('\n'));
  for (const { name, why } of objects.unread) lines.push('', `Not read: ${name} (${why})`);
  if (shown.length < text.length)
    lines.push(
      '',
      'Not listed: layout, comments, what was counted, times of single set elements, and the order of named entries where only a generic reader knows them. --raw shows the text.',
    );
  for (const file of shown) lines.push('', file.difference ?? `${file.name}: ${file.change}; it is no text.`);
  return lines.join('\n');
}

function placeOf(object: ConfigObject | null, naming: FileNaming) {
  if (object === null) return null;
  const { file, line, endLine } = object.place;
  return { file: naming(file), line, endLine };
}
