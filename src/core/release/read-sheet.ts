import { TuckpointError } from '#core/errors';
import type { ReleaseFile, ReleaseSheet } from './sheet.ts';
import { isVersion } from './version.ts';

const FIELDS = new Set(['release', 'models', 'from', 'files', 'limitations', 'fixes', 'notes']);
const FILE_FIELDS = new Set(['name', 'size', 'sha256']);

/**
 * Reads a release sheet from parsed JSON or YAML.
 * @param file Name of the file it came from, for errors.
 * @throws TuckpointError `release/sheet` that names the first field that is wrong and says what it must be.
 */
export function readReleaseSheet(value: unknown, file?: string): ReleaseSheet {
  const wrong = (field: string, must: string): never => {
    throw new TuckpointError('release/sheet', `${must}.`, {
      place: { ...(file === undefined ? {} : { file }), field },
      advice: 'Correct the release sheet.',
    });
  };
  const sheet = asRecord(value) ?? wrong('(whole sheet)', 'A release sheet must be a set of named fields');
  refuseUnknown(sheet, FIELDS, '', wrong);

  const release =
    text(sheet.release) ?? wrong('release', 'This must be the name of the release, such as 4.2.0');
  if (!isVersion(release)) wrong('release', `"${release}" must begin with a number, such as 4.2.0`);
  const models = texts(sheet.models) ?? wrong('models', 'This must be a list of model names');
  if (models.length === 0) wrong('models', 'At least one model must stand here');
  const files = asList(sheet.files) ?? wrong('files', 'This must be a list of files');
  if (files.length === 0) wrong('files', 'At least one file must stand here');
  const read = files.map((entry, i) => readFile(entry, `files[${i}]`, wrong));
  const twice = read.find((entry, i) => read.findIndex((other) => other.name === entry.name) !== i);
  if (twice !== undefined) wrong('files', `The file ${twice.name} stands here twice`);

  const from = optional(sheet.from, text, () =>
    wrong('from', 'This must be the oldest release to come from'),
  );
  if (from !== undefined && !isVersion(from))
    wrong('from', `"${from}" must begin with a number, such as 4.0.0`);
  const limitations = optional(sheet.limitations, texts, () =>
    wrong('limitations', 'This must be a list of texts'),
  );
  const fixes = optional(sheet.fixes, texts, () => wrong('fixes', 'This must be a list of texts'));
  const notes = optional(sheet.notes, text, () => wrong('notes', 'This must be a text'));
  return {
    release,
    models,
    files: read,
    ...(from === undefined ? {} : { from }),
    ...(limitations === undefined ? {} : { limitations }),
    ...(fixes === undefined ? {} : { fixes }),
    ...(notes === undefined ? {} : { notes }),
  };
}

type Wrong = (field: string, must: string) => never;

function readFile(value: unknown, at: string, wrong: Wrong): ReleaseFile {
  const entry = asRecord(value) ?? wrong(at, 'Each file must have a name, a size and a sha256');
  refuseUnknown(entry, FILE_FIELDS, `${at}.`, wrong);
  const name = text(entry.name) ?? wrong(`${at}.name`, 'This must be the name of the file');
  if (/[/\\\0]/.test(name) || name === '.' || name === '..') {
    wrong(`${at}.name`, 'This must be a plain file name without a folder');
  }
  const { size, sha256 } = entry;
  if (typeof size !== 'number' || !Number.isSafeInteger(size) || size <= 0) {
    return wrong(`${at}.size`, 'This must be the size in bytes, a whole number above 0');
  }
  if (typeof sha256 !== 'string' || !/^[0-9a-f]{64}$/i.test(sha256)) {
    return wrong(`${at}.sha256`, 'This must be a SHA-256 digest, 64 hexadecimal digits');
  }
  return { name, size, sha256: sha256.toLowerCase() };
}

function refuseUnknown(record: Record<string, unknown>, known: Set<string>, at: string, wrong: Wrong): void {
  const stranger = Object.keys(record).find((field) => !known.has(field));
  if (stranger !== undefined) {
    wrong(`${at}${stranger}`, `This field is not known here; known are ${[...known].join(', ')}`);
  }
}

function optional<T>(value: unknown, as: (value: unknown) => T | null, wrong: () => never): T | undefined {
  return value === undefined ? undefined : (as(value) ?? wrong());
}

function asRecord(value: unknown): Record<string, unknown> | null {
  return typeof value === 'object' && value !== null && !Array.isArray(value)
    ? (value as Record<string, unknown>)
    : null;
}

function asList(value: unknown): readonly unknown[] | null {
  return Array.isArray(value) ? value : null;
}

function text(value: unknown): string | null {
  return typeof value === 'string' && value.trim() !== '' ? value : null;
}

function texts(value: unknown): readonly string[] | null {
  const list = asList(value)?.map(text);
  return list?.every((entry) => entry !== null) ? (list as string[]) : null;
}
