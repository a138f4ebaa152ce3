import { z } from 'zod';
import { typeOfFill } from '#core/config';
import { TuckpointError } from '#core/errors';
import { type Mistake, readDocument, readTable } from '#document';
import type { DeviceRecord } from '#store';

/** Which texts of a source differ per device, and what each device has in their place. */
export interface FillIns {
  readonly placeholders: readonly string[];
  valueFor(device: Pick<DeviceRecord, 'name' | 'own'>, placeholder: string): string | undefined;
}

/** By placeholder, then by device; `*` for every other device. A value `own.NAME` is the device's own of that name. */
type Values = ReadonlyMap<string, ReadonlyMap<string, string>>;

const word = z.union([z.string(), z.number()]).transform(String);
const schema = z.strictObject({ 'fill-ins': z.record(z.string(), z.record(z.string(), word)) });

/**
 * Reads a file of fill-ins: YAML (`fill-ins:` by text, then by device) or, for a name ending in `.csv`, a table with
 * the heading `device` and one column per text. docs/graft.md describes both.
 * @throws TuckpointError `config/fill-in` with file and line of the first mistake, and how many there are.
 */
export function readFillIns(text: string, file: string): FillIns {
  return fillIns(/\.csv$/i.test(file) ? fromTable(text, file) : fromDocument(text, file));
}

/**
 * Fill-ins given one by one, `TEXT=VALUE` for every device, VALUE perhaps `own.NAME`.
 * @throws TuckpointError `config/fill-in`.
 */
export function fillInsFromWords(words: readonly string[]): FillIns {
  const values = new Map<string, Map<string, string>>();
  for (const one of words) {
    const at = one.indexOf('=');
    const [placeholder, value] = [one.slice(0, at).trim(), one.slice(at + 1).trim()];
    const why = at < 1 || value === '' ? 'It is not TEXT=VALUE.' : mismatch(placeholder, value);
    if (why !== null) {
      throw new TuckpointError('config/fill-in', why, {
        place: { field: `--fill ${one}` },
        advice: 'Write TEXT=VALUE or TEXT=own.NAME, or name a file.',
      });
    }
    values.set(placeholder, new Map([['*', value]]));
  }
  return fillIns(values);
}

/** Several sources of fill-ins as one; the first that has a value wins. */
export function joinFillIns(several: readonly FillIns[]): FillIns {
  return {
    placeholders: [...new Set(several.flatMap(({ placeholders }) => placeholders))],
    valueFor: (device, placeholder) => {
      for (const one of several) {
        const value = one.valueFor(device, placeholder);
        if (value !== undefined) return value;
      }
      return undefined;
    },
  };
}

function fillIns(values: Values): FillIns {
  return {
    placeholders: [...values.keys()],
    valueFor(device, placeholder) {
      const own = values.get(placeholder);
      const value = own?.get(device.name) ?? own?.get('*');
      const name = value === undefined ? undefined : ownName(value);
      return name === undefined ? value : device.own[name];
    },
  };
}

function fromDocument(text: string, file: string): Values {
  const checked = schema.superRefine((document, context) => {
    for (const [placeholder, byDevice] of Object.entries(document['fill-ins'])) {
      for (const [device, value] of Object.entries(byDevice)) {
        const message = mismatch(placeholder, value);
        if (message !== null)
          context.addIssue({ code: 'custom', path: ['fill-ins', placeholder, device], message });
      }
    }
  });
  const read = readDocument(text, file, checked);
  if ('mistakes' in read) throw wrong(read.mistakes);
  return new Map(
    Object.entries(read.value['fill-ins']).map(([placeholder, byDevice]) => [
      placeholder,
      new Map(Object.entries(byDevice)),
    ]),
  );
}

function fromTable(text: string, file: string): Values {
  const table = readTable(text, file);
  if ('mistakes' in table) throw wrong(table.mistakes);
  const { heading, rows } = table;
  const [first, ...placeholders] = heading.cells;
  const place = { file, line: heading.line };
  if (first !== 'device') throw wrong([{ message: 'The first column is not called "device".', place }]);
  const twice = placeholders.find((one, i) => one === '' || placeholders.indexOf(one) !== i);
  if (twice !== undefined)
    throw wrong([{ message: `The heading "${twice}" is empty or stands twice.`, place }]);
  const values = new Map(placeholders.map((placeholder) => [placeholder, new Map<string, string>()]));
  const mistakes: Mistake[] = [];
  const devices = new Set<string>();
  for (const { line, cells } of rows) {
    const [device = '', ...own] = cells;
    const at = { file, line };
    if (device === '' || devices.has(device))
      mistakes.push({ message: `The device "${device}" is empty or stands twice.`, place: at });
    devices.add(device);
    for (const [i, placeholder] of placeholders.entries()) {
      const value = own[i] ?? '';
      if (value === '') continue;
      const message = mismatch(placeholder, value);
      if (message !== null) mistakes.push({ message, place: { ...at, field: placeholder } });
      else values.get(placeholder)!.set(device, value);
    }
  }
  const [mistake, ...more] = mistakes;
  if (mistake !== undefined) throw wrong([mistake, ...more]);
  return values;
}

function mismatch(placeholder: string, value: string): string | null {
  if (ownName(value) !== undefined) return null;
  const [wanted, given] = [typeOfFill(placeholder), typeOfFill(value)];
  if (wanted === null)
    return `"${placeholder}" is no address, prefix, range, number or name, so it cannot vary.`;
  if (wanted === given) return null;
  return `${placeholder} is of type ${wanted}, "${value}" is ${given === null ? 'of none' : `of type ${given}`}.`;
}

const ownName = (value: string): string | undefined => /^own\.([\w-]+)$/.exec(value)?.[1];

function wrong([first, ...rest]: readonly [Mistake, ...Mistake[]]): TuckpointError {
  const lines = rest.map(({ place }) => `line ${place.line}`).join(', ');
  return new TuckpointError('config/fill-in', first.message, {
    place: first.place,
    ...(rest.length === 0 ? {} : { advice: `${rest.length} more in this file: ${lines}.` }),
  });
}
