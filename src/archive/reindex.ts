import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { unwrapCapture } from './container.ts';
import { sha256 } from './digest.ts';
import type { Container, NewEntry } from './entry.ts';
import type { Inside } from './inside.ts';
import { Pack } from './pack.ts';
import type { CaptureRecord } from './port.ts';
import { containerFiles } from './verify.ts';

export interface ReindexReport {
  /** Captures that the manifest knows without help. */
  readonly known: number;
  /** Captures taken in again from files that no line knew. */
  readonly found: readonly { readonly id: string; readonly device: string; readonly file: string }[];
  /** Files that could not be opened, and why. They are left where they are. */
  readonly unreadable: readonly { readonly file: string; readonly why: string }[];
  /** What was wrong with the manifest and is now noted in it. */
  readonly noticed: readonly string[];
}

interface Found {
  readonly container: Container;
  readonly raw: number | null;
  readonly captures: readonly { readonly record: CaptureRecord }[];
}

/** Opens a container that no line knows; what it holds is known from inside. Throws. */
async function explore(inside: Inside, file: string): Promise<Found> {
  const bytes = await readFile(path.join(inside.folder, file));
  const plain = await inside.sealing.open(bytes);
  const container = { file, size: bytes.length, sha256: sha256(bytes) };
  if (!file.startsWith('packs/')) return { container, raw: null, captures: [await unwrapCapture(plain)] };
  const pack = await Pack.read(plain);
  const captures = pack.records.map((record) => {
    pack.check(record);
    return { record };
  });
  return { container, raw: pack.size, captures };
}

/** The lines that make the captures of a found file known. */
function linesFor(inside: Inside, { container, raw, captures }: Found): NewEntry[] {
  const lost = captures.filter(
    ({ record }) => inside.catalogue.record(record.id) === undefined && record.at !== '',
  );
  const lines: NewEntry[] = lost.map(({ record }) => {
    const { digest: _, ...taken } = record;
    return { kind: 'capture', ...taken, files: [...taken.files], in: container, found: true };
  });
  const device = captures[0]?.record.device;
  if (raw !== null && device !== undefined && lost.length > 0) {
    const adds = lost.map(({ record }) => record.id);
    lines.push({ kind: 'packed', device, in: container, raw, adds, replaces: null });
  }
  return lines;
}

/**
 * Builds the index again from the files alone: reads every line of the manifest, then opens every container that no
 * line knows and takes in what it holds. Lines that are lost stay lost; that they were is noted in the manifest.
 */
export async function reindexArchive(inside: Inside): Promise<ReindexReport> {
  return inside.alone(async () => {
    const { catalogue, manifest } = inside;
    const known = catalogue.size;
    const faults = [...manifest.faults, ...(await manifest.compareHeads(inside.witnesses))];
    const noticed = faults.map(({ first, last, why }) => `lines ${first} to ${last}: ${why}`);
    const found: { id: string; device: string; file: string }[] = [];
    const unreadable: { file: string; why: string }[] = [];
    const files = new Set([...catalogue.shelves.map((shelf) => shelf.container.file), ...catalogue.spent]);
    if (noticed.length > 0) await inside.append([{ kind: 'noticed', what: noticed }]);
    // Packs first: what they hold need not be found once more in single files they replaced.
    for (const file of (await containerFiles(inside.folder)).reverse()) {
      if (files.has(file)) continue;
      try {
        const lines = linesFor(inside, await explore(inside, file));
        if (lines.length > 0) await inside.append(lines);
        for (const line of lines)
          if (line.kind === 'capture') found.push({ id: line.id, device: line.device, file });
      } catch (cause) {
        unreadable.push({ file, why: (cause as Error).message });
      }
    }
    return { known, found, unreadable, noticed };
  });
}
