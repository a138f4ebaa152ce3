import { readdir, readFile, stat } from 'node:fs/promises';
import path from 'node:path';
import type { Command } from 'commander';
import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import type { Policy } from '#core/traffic';
import { decode, dialects, policyOfCapture, type ReadCapture, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import { type Languages, type Reading, readingIn } from '#runs';
import type { CliContext } from './context.ts';

/** How a configuration is named on the command line, for help texts. */
export const SOURCES =
  'a file, a folder of files, the id of a capture, DEVICE (its last capture), DEVICE@running or DEVICE@spare (asked now)';

export interface ConfigurationSource {
  /** As the user named it. */
  readonly named: string;
  /** The device it belongs to, where that is known. */
  readonly device?: string;
  readonly files: readonly NamedFile[];
}

/**
 * The files of a configuration, wherever it is. A path that exists wins over a name.
 * @throws TuckpointError `cli/no-source`, and what the archive, the store and links throw.
 */
export async function configurationFrom(context: CliContext, named: string): Promise<ConfigurationSource> {
  const onDisk = await stat(named).catch(() => null);
  if (onDisk?.isFile() === true) return { named, files: [{ name: named, bytes: await readFile(named) }] };
  if (onDisk?.isDirectory() === true) return { named, files: await filesIn(named) };
  if (/[/\\]/.test(named) || /\.\w+$/.test(named)) throw nothing(named);
  const bench = await context.workbench();
  const [name = '', slot] = named.split('@');
  const device = await bench.store.devices.find(name);
  if (device === null) {
    const capture = await bench.archive.get(named).catch((cause: unknown) => {
      throw nothing(named, cause);
    });
    return { named, device: capture.record.device, files: capture.files };
  }
  if (slot === undefined) {
    const last = (await bench.archive.list(name)).at(-1);
    if (last === undefined) {
      throw new TuckpointError('cli/no-source', `The archive holds no capture of ${name}.`, {
        advice: `Take one with "tuckpoint capture ${name}", or name ${name}@running to ask the device.`,
      });
    }
    return { named, device: name, files: (await bench.archive.get(last.id)).files };
  }
  if (slot !== 'running' && slot !== 'spare') {
    throw new TuckpointError('cli/no-source', `"${slot}" is no slot.`, {
      advice: 'Write @running or @spare.',
    });
  }
  const link = await bench.link(device);
  try {
    return { named, device: name, files: await link.capture(slot) };
  } finally {
    await link.close();
  }
}

/** How a configuration is to be read: `--dialect NAME` for every file, or `--mapping FILE` (repeatable) besides. */
export interface ReadingOptions {
  readonly dialect?: string;
  readonly mapping?: readonly string[];
}

/** Adds the options of `ReadingOptions` to a command. */
export function withReadingOptions(command: Command): Command {
  return command
    .option('--dialect <name>', `read every file in this language: ${dialects.map((d) => d.name).join(', ')}`)
    .option(
      '--mapping <file>',
      'a mapping file that teaches a further language; may be given several times',
      (file: string, earlier: readonly string[] | undefined) => [...(earlier ?? []), file],
    );
}

/**
 * Reads it through dialects.
 * @throws TuckpointError `dialects/…`, `cli/cannot-read`.
 */
export async function readSource(source: ConfigurationSource, options: ReadingOptions): Promise<ReadCapture> {
  return readCapture(source.files, await readingOf(options));
}

/** The options as languages, to read several configurations alike. Throws what `readSource` throws. */
export async function readingOf(options: ReadingOptions): Promise<Reading> {
  return readingIn(await languagesOf(options));
}

/** The options as plain data, for a run to keep; undefined where none was given. Throws what `readSource` throws. */
export async function languagesOf({ dialect, mapping }: ReadingOptions): Promise<Languages | undefined> {
  if (dialect === undefined && mapping === undefined) return undefined;
  const mappings = await Promise.all((mapping ?? []).map(mappingFile));
  const languages = { mappings, ...(dialect === undefined ? {} : { only: dialect }) };
  // A mistake in them is told before anything begins.
  readingIn(languages);
  return languages;
}

async function mappingFile(file: string): Promise<SourceFile> {
  const bytes = await readFile(file).catch((cause: unknown) => {
    throw new TuckpointError('cli/cannot-read', 'The mapping file cannot be read.', {
      place: { file },
      cause,
    });
  });
  return decode(file, bytes);
}

/**
 * Its packet policy.
 * @throws TuckpointError `dialects/no-policy` when no file carries packet rules.
 */
export async function policyOf(source: ConfigurationSource, options: ReadingOptions): Promise<Policy> {
  return policyIn(source, await readSource(source, options));
}

/**
 * The packet policy of a configuration that was read.
 * @throws TuckpointError `dialects/no-policy` when no file carries packet rules.
 */
export function policyIn(source: ConfigurationSource, read: ReadCapture): Policy {
  const found = policyOfCapture(read);
  if (found === null) {
    const [refused] = read.unread;
    if (source.files.length === 1 && refused?.refusal != null) throw refused.refusal;
    const why = read.unread.map((u) => `${u.name}: ${u.why}`).join('; ');
    throw new TuckpointError(
      'dialects/no-policy',
      `No packet rules were found${why === '' ? '' : ` (${why})`}.`,
      {
        place: { file: source.named },
        advice: 'Name the language with --dialect, or teach it with --mapping.',
      },
    );
  }
  return found.policy;
}

async function filesIn(folder: string): Promise<NamedFile[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  const files = entries.filter((entry) => entry.isFile());
  const read = files.map(async (entry) => {
    const file = path.join(entry.parentPath, entry.name);
    return { name: path.relative(folder, file).split(path.sep).join('/'), bytes: await readFile(file) };
  });
  return (await Promise.all(read)).sort((a, b) => (a.name < b.name ? -1 : 1));
}

function nothing(named: string, cause?: unknown): TuckpointError {
  return new TuckpointError('cli/no-source', `"${named}" is no file, no folder, no device and no capture.`, {
    cause,
    advice: `Name ${SOURCES}.`,
  });
}
