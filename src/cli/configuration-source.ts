import { readdir, readFile, stat } from 'node:fs/promises';
import path from 'node:path';
import type { Dialect } from '#core/config';
import { TuckpointError } from '#core/errors';
import type { Policy } from '#core/traffic';
import { dialectNamed, policyOfCapture, type ReadCapture, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
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

/** Reads it through dialects; with `dialect`, every file by that one. */
export function readSource(source: ConfigurationSource, dialect?: string): ReadCapture {
  const only: Dialect | undefined = dialect === undefined ? undefined : dialectNamed(dialect);
  return readCapture(source.files, only);
}

/**
 * Its packet policy. Files that no dialect read are among the policy's unread statements.
 * @throws TuckpointError `dialects/no-policy` when no file carries packet rules.
 */
export function policyOf(source: ConfigurationSource, dialect?: string): Policy {
  const read = readSource(source, dialect);
  const found = policyOfCapture(read);
  if (found === null) {
    const why = read.unread.map((u) => `${u.name}: ${u.why}`).join('; ');
    throw new TuckpointError(
      'dialects/no-policy',
      `No packet rules were found${why === '' ? '' : ` (${why})`}.`,
      {
        place: { file: source.named },
        advice: 'Name the language with --dialect, or teach it with a mapping file.',
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
