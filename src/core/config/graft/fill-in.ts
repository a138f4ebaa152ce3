import { parseAddresses } from '#core/address';
import { TuckpointError } from '#core/errors';
import type { Edit } from '../dialect.ts';
import { type SourceFile, textOf } from '../source.ts';
import type { ConfigObject } from '../typed-configuration.ts';
import { escaped } from './rename.ts';

/** A text of the source that differs per device, and what stands in its place on one of them. */
export interface FillIn {
  readonly placeholder: string;
  readonly value: string;
}

type FillType =
  | 'IPv4 address'
  | 'IPv4 prefix'
  | 'IPv6 address'
  | 'IPv6 prefix'
  | 'address range'
  | 'number'
  | 'name';

/** What a text is, by its form; a fill-in must be of the type of what it replaces. */
export function typeOfFill(text: string): FillType | null {
  if (/^\d+$/.test(text)) return 'number';
  const set = parseAddresses(text);
  if (set !== undefined) {
    if (text.includes('-')) return 'address range';
    return `IPv${set.family} ${text.includes('/') ? 'prefix' : 'address'}`;
  }
  return /^[A-Za-z_][\w.:@-]*$/.test(text) ? 'name' : null;
}

/**
 * The fill-ins of one device: every placeholder with its value.
 * @throws TuckpointError `config/fill-in` when values are missing or of another type: all of them in one sentence.
 */
export function fillInsOf(
  device: string,
  placeholders: readonly string[],
  lookUp: (placeholder: string) => string | undefined,
): FillIn[] {
  const wrong: string[] = [];
  const found = placeholders.flatMap((placeholder) => {
    const value = lookUp(placeholder);
    const type = typeOfFill(placeholder);
    if (value === undefined || value === '') wrong.push(`${placeholder} has no value`);
    else if (typeOfFill(value) !== type)
      wrong.push(
        `${placeholder} is ${type ?? 'a text'}, ${JSON.stringify(value)} is ${typeOfFill(value) ?? 'none'}`,
      );
    else return [{ placeholder, value }];
    return [];
  });
  if (wrong.length === 0) return found;
  throw new TuckpointError('config/fill-in', `The fill-ins of ${device} do not do: ${wrong.join('; ')}.`, {
    place: { field: device },
    advice:
      'Give each device a value of the same type, in the fill-in file or among the device’s own values.',
  });
}

/** A text with the fill-ins in place. Only whole values count: `10.4.0.1` in `10.4.0.10` stays. */
function fillText(text: string, fillIns: readonly FillIn[]): string {
  if (fillIns.length === 0) return text;
  const values = new Map(fillIns.map(({ placeholder, value }) => [placeholder, value]));
  return text.replace(patternOf([...values.keys()]), (word) => values.get(word) ?? word);
}

/** Which of the placeholders occur in the text of any of the objects. */
export function occursIn(
  files: readonly SourceFile[],
  objects: readonly ConfigObject[],
  placeholders: readonly string[],
): Set<string> {
  const found = new Set<string>();
  if (placeholders.length === 0) return found;
  const pattern = patternOf(placeholders);
  for (const { place } of objects)
    for (const [word] of textOf(files, place).matchAll(pattern)) found.add(word);
  return found;
}

/** The edits that put fill-ins into the texts of objects; stretches inside one another are filled once. */
export function fillEdits(
  files: readonly SourceFile[],
  objects: readonly ConfigObject[],
  fillIns: readonly FillIn[],
): Edit[] {
  const sorted = objects
    .map(({ place }) => place)
    .sort((a, b) => (a.file === b.file ? a.start - b.start || b.end - a.end : a.file < b.file ? -1 : 1));
  const edits: Edit[] = [];
  let last = { file: '', end: 0 };
  for (const place of sorted) {
    if (place.file === last.file && place.start < last.end) continue;
    last = place;
    const text = textOf(files, place);
    const filled = fillText(text, fillIns);
    if (filled !== text) edits.push({ place, text: filled });
  }
  return edits;
}

/** Ends of a word depend on what the placeholder is: a range parts addresses, not names. */
function patternOf(placeholders: readonly string[]): RegExp {
  const one = (text: string): string => {
    const inner = typeOfFill(text) === 'name' ? '[\\w.@$:/-]' : '[\\w.:/]';
    return `(?<!${inner})${escaped(text)}(?!${inner})`;
  };
  const longestFirst = [...placeholders].sort((a, b) => b.length - a.length);
  return new RegExp(longestFirst.map(one).join('|'), 'g');
}
