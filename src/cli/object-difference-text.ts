import {
  type ConfigObject,
  type FieldChange,
  groupChanges,
  type ObjectChange,
  type ObjectDifference,
  type OpaqueChange,
  SecretHider,
  type Span,
  withoutSecrets,
} from '#core/config';

/** The user's name for a file. */
export type FileNaming = (file: string) => string;

/** An object difference for a person, by kind and section. */
export function objectLines(difference: ObjectDifference, afterName: FileNaming): string[] {
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

function changeLines(change: ObjectChange, afterName: FileNaming): string[] {
  const object = change.after ?? change.before;
  const users = change.usersAfter.length === 0 ? '' : `, used by ${names(change.usersAfter)}`;
  const was = change.change === 'renamed' ? ` (was ${change.before?.name})` : '';
  const moved = change.alsoMoved && change.change !== 'moved' ? ' and moved' : '';
  const places = [
    change.before === null ? null : spanText(change.before.place, (file) => file),
    change.after === null ? null : spanText(change.after.place, afterName),
  ].filter((place) => place !== null);
  return [
    `  ${change.change}${moved}: ${object?.name ?? ''}${was} (${places.join(' -> ')})${users}`,
    ...wordsOf(change),
    ...withoutSecrets(change.fields).map((field) => `      ${fieldText(field)}`),
  ];
}

/** What a rule that came or went says, where that is a list of texts. */
function wordsOf({ change, before, after }: ObjectChange): string[] {
  const value = (after ?? before)?.value;
  const isText = Array.isArray(value) && value.every((one) => typeof one === 'string');
  return (change === 'added' || change === 'removed') && isText ? [`      ${value.join(' ')}`] : [];
}

/** One field that differs, `elements: ["10.1.0.0/16"] -> nothing`. */
export function fieldText({ field, before, after }: FieldChange): string {
  return `${field === '' ? 'value' : field}: ${valueText(before)} -> ${valueText(after)}`;
}

function opaqueLine({ change, before, after }: OpaqueChange, afterName: FileNaming): string {
  const part = after ?? before;
  const naming: FileNaming = after === null ? (file) => file : afterName;
  return `  ${change}, not understood: ${part === null ? '' : `${spanText(part.place, naming)} "${new SecretHider().text(part.text)}"`}`;
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

function spanText({ file, line }: Span, naming: FileNaming): string {
  return `${naming(file)}:${line}`;
}
