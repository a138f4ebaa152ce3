import type { Command } from 'commander';
import {
  type ConfigObject,
  groupChanges,
  type ObjectChange,
  type ObjectDifference,
  type OpaqueChange,
  type Span,
} from '#core/config';
import { differenceRecord, type TrafficDifference } from '#core/traffic';
import { type CaptureComparison, compareCaptures, trafficBetween } from '#dialects';
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
import { ExitCode } from './exit-codes.ts';
import { differenceText } from './traffic-answer.ts';

interface Options extends ReadingOptions {
  raw?: boolean;
}

/** `diff A B`: objects added, removed, changed, moved, renamed; traffic; and with --raw the text. */
export function diffCommand(program: Command, context: CliContext): void {
  withReadingOptions(program.command('diff <before> <after>'))
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
        traffic: trafficBetween(a, b),
        text: configurationChanges(before.files, twin.files),
        afterName: (file) => (twin === after ? file : (after.files[0]?.name ?? file)),
      };
      const unread = new Set(answer.objects.unread.map((file) => file.name));
      const shown = answer.text.filter((file) => options.raw === true || unread.has(file.name));
      context.out.result(dataOf(answer, shown), textOf(answer, shown));
      const undecided = answer.traffic?.verdict === 'undecided';
      context.exit(
        answer.text.length === 0 ? ExitCode.ok : undecided ? ExitCode.undecided : ExitCode.different,
      );
    });
}

interface Answer {
  readonly objects: CaptureComparison;
  readonly traffic: TrafficDifference | null;
  readonly text: FileChanges;
  /** The user's name for a file of the second configuration. */
  afterName(file: string): string;
}

/** A single file is compared with another single file whatever its name: under the name of the first. */
function underNameOf(before: ConfigurationSource, after: ConfigurationSource): ConfigurationSource {
  const [a, b] = [before.files[0], after.files[0]];
  if (before.files.length !== 1 || after.files.length !== 1 || a === undefined || b === undefined)
    return after;
  return a.name === b.name ? after : { ...after, files: [{ name: a.name, bytes: b.bytes }] };
}

type FileChanges = ReturnType<typeof configurationChanges>;

function dataOf({ objects, traffic, afterName }: Answer, text: FileChanges) {
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
        fields: change.fields,
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
    traffic: traffic === null ? null : differenceRecord(traffic),
    filesNotRead: objects.unread,
    text,
  };
}

function textOf({ objects, traffic, text, afterName }: Answer, shown: FileChanges): string {
  if (text.length === 0) return 'The same bytes: nothing differs.';
  const lines: string[] = [];
  for (const { difference } of objects.parts) lines.push(...objectLines(difference, afterName));
  if (lines.length === 0)
    lines.push('No object differs; what differs is layout, comments or files not read.');
  if (traffic !== null) lines.push('', 'Traffic', ...differenceText(traffic).split('\n'));
  for (const { name, why } of objects.unread) lines.push('', `Not read: ${name} (${why})`);
  for (const file of shown) lines.push('', file.difference ?? `${file.name}: ${file.change}; it is no text.`);
  return lines.join('\n');
}

type Naming = (file: string) => string;

function objectLines(difference: ObjectDifference, afterName: Naming): string[] {
  const lines: string[] = [];
  for (const { kind, section, changes } of groupChanges(difference)) {
    lines.push(`${section === '' ? kind : `${kind}, ${section}`}`);
    for (const change of changes) lines.push(...changeLines(change, afterName));
  }
  for (const change of difference.opaque) lines.push(opaqueLine(change, afterName));
  for (const { from, reference } of difference.broken) {
    lines.push(
      `  ${from.name} mentions ${reference.text}, which is no longer there (${spanText(reference.place, afterName)})`,
    );
  }
  return lines;
}

function changeLines(change: ObjectChange, afterName: Naming): string[] {
  const object = change.after ?? change.before;
  const users = change.usersAfter.length === 0 ? '' : `, used by ${names(change.usersAfter)}`;
  const was = change.change === 'renamed' ? ` (was ${change.before?.name})` : '';
  const moved = change.alsoMoved ? ' and moved' : '';
  const places = [
    change.before === null ? null : spanText(change.before.place, (file) => file),
    change.after === null ? null : spanText(change.after.place, afterName),
  ].filter((place) => place !== null);
  return [
    `  ${change.change}${moved}: ${object?.name ?? ''}${was} (${places.join(' -> ')})${users}`,
    ...change.fields.map(
      ({ field, before, after }) =>
        `      ${field === '' ? 'value' : field}: ${valueText(before)} -> ${valueText(after)}`,
    ),
  ];
}

function opaqueLine({ change, before, after }: OpaqueChange, afterName: Naming): string {
  const part = after ?? before;
  const naming: Naming = after === null ? (file) => file : afterName;
  return `  ${change}, not understood: ${part === null ? '' : `${spanText(part.place, naming)} "${part.text}"`}`;
}

function names(objects: readonly ConfigObject[]): string {
  const shown = objects.slice(0, 5).map((object) => object.name);
  return objects.length > shown.length
    ? `${shown.join(', ')} and ${objects.length - shown.length} more`
    : shown.join(', ');
}

function valueText(value: unknown): string {
  if (value === undefined) return 'nothing';
  return typeof value === 'string' ? value : JSON.stringify(value);
}

function spanText({ file, line }: Span, naming: Naming): string {
  return `${naming(file)}:${line}`;
}

function placeOf(object: ConfigObject | null, naming: Naming) {
  if (object === null) return null;
  const { file, line, endLine } = object.place;
  return { file: naming(file), line, endLine };
}
