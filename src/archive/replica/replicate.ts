import { readdir, readFile, unlink } from 'node:fs/promises';
import path from 'node:path';
import { sha256 } from '../digest.ts';
import { makeFolder, UNFINISHED, writeDurably } from '../durable.ts';
import { archiveError } from '../errors.ts';
import { parseHead } from '../head.ts';
import type { Inside } from '../inside.ts';
import { RING } from '../key-ring.ts';
import { MANIFEST } from '../manifest.ts';
import type { ReplicaStore } from './store.ts';

export interface ReplicateReport {
  /** Files written now, and their bytes; each was read back and compared. */
  readonly written: number;
  readonly bytes: number;
  /** Files that stood there already and are known to be right. */
  readonly kept: number;
  /** Files removed because the archive has replaced or deleted them. */
  readonly removed: number;
}

export interface ReplicateOptions {
  /** The folder that has the key ring, where that is not the archive's own. */
  readonly ring?: string;
  /** Reads back every file, not only those written now or not yet known to be right. */
  readonly readAll?: boolean;
  readonly progress?: (done: number, total: number) => void;
  /** Stops between two files; another call goes on from there. */
  readonly signal?: AbortSignal;
}

const HEAD = 'head.json';
/** What of an archive is replicated, and what may be taken from a replica. */
const OURS = /^(?:(?:keys|manifest|captures|packs)(?:\/[A-Za-z0-9_][A-Za-z0-9_.-]*)+|head\.json)$/;

/** File name -> SHA-256 of what was read back from the replica. */
type Known = Record<string, string>;

/** Where it is noted what a replica is known to hold right. Losing it costs reading the replica once. */
function noteFile(inside: Inside, store: ReplicaStore): string {
  return path.join(inside.folder, 'replicas', `${sha256(store.where).slice(0, 16)}.json`);
}

async function names(folder: string): Promise<string[]> {
  return (await readdir(folder).catch(() => [])).filter((name) => !name.endsWith(UNFINISHED));
}

/** What the archive consists of now, containers first: lines may be there only when what they tell of is. */
async function filesNow(inside: Inside, ringFolder: string): Promise<string[]> {
  await inside.refresh();
  const ring = (await names(path.join(ringFolder, RING))).map((name) => `${RING}/${name}`);
  const containers = inside.catalogue.shelves.map((shelf) => shelf.container.file);
  const lines = (await inside.manifest.segments()).map(({ name }) => `${MANIFEST}/${name}`);
  return [...ring, ...containers, ...lines, HEAD];
}

/** Refuses to write over a replica that is of another archive, or further on than this one. */
async function checkSuccession(inside: Inside, store: ReplicaStore): Promise<void> {
  const bytes = await store.read(HEAD);
  if (bytes === null) return;
  const refuse = (why: string) =>
    archiveError('archive/replica', `The replica at ${store.where} ${why}.`, {
      advice: 'Nothing there was changed. Use another place, or restore from it first.',
    });
  const head = parseHead(Buffer.from(bytes).toString(), inside.manifest.trusted);
  if (head === null) throw refuse('is of another archive');
  if (head.last > inside.manifest.last) throw refuse('is further on than this archive');
  if ((await inside.manifest.hashAt(head.last)) !== head.hash)
    throw refuse('has another history than this archive');
}

/** Retries from a fresh look when a file was packed away meanwhile. */
const ATTEMPTS = 5;

/**
 * Brings a replica up to date: writes what is missing or different, reads every file written back, and removes what
 * the archive no longer has. May be stopped at any moment: the replica can then still be restored as it was at the
 * end of the last whole pass, and the next call goes on. Throws `archive/replica`.
 */
export async function replicate(
  inside: Inside,
  store: ReplicaStore,
  options: ReplicateOptions = {},
): Promise<ReplicateReport> {
  await inside.refresh();
  await checkSuccession(inside, store);
  const ring = options.ring ?? inside.folder;
  const note = noteFile(inside, store);
  const known: Known = JSON.parse(await readFile(note, 'utf8').catch(() => '{}'));
  const save = async () => {
    await makeFolder(path.dirname(note));
    await writeDurably(note, Buffer.from(JSON.stringify(known)));
  };
  const there = new Map(await store.list());
  const report = { written: 0, bytes: 0, kept: 0, removed: 0 };
  try {
    for (let attempt = 1; ; attempt += 1) {
      const files = await filesNow(inside, ring);
      if (await copyAll(inside, store, files, there, known, report, options)) break;
      if (attempt === ATTEMPTS)
        throw archiveError(
          'archive/replica',
          'A file of this archive is missing or is being moved all the time.',
          {
            advice: 'Run "archive verify".',
          },
        );
    }
    const wanted = new Set(await filesNow(inside, ring));
    for (const name of there.keys()) {
      if (wanted.has(name) || !OURS.test(name)) continue;
      await store.remove(name);
      delete known[name];
      report.removed += 1;
    }
  } finally {
    await save();
  }
  return report;
}

/** Copies each file that is not known to be right there. False: one was gone here; look again. */
async function copyAll(
  inside: Inside,
  store: ReplicaStore,
  files: readonly string[],
  there: Map<string, number>,
  known: Known,
  report: { written: number; bytes: number; kept: number },
  options: ReplicateOptions,
): Promise<boolean> {
  report.kept = 0;
  for (const [done, name] of files.entries()) {
    options.progress?.(done, files.length);
    options.signal?.throwIfAborted();
    const home = name.startsWith(`${RING}/`) ? (options.ring ?? inside.folder) : inside.folder;
    const bytes = await readFile(path.join(home, name)).catch((cause: NodeJS.ErrnoException) => {
      if (cause.code === 'ENOENT') return null;
      throw cause;
    });
    if (bytes === null) return name === HEAD;
    const digest = sha256(bytes);
    const same = there.get(name) === bytes.length;
    if (same && known[name] === digest && options.readAll !== true) report.kept += 1;
    else if (same && (await digestThere(store, name)) === digest) report.kept += 1;
    else {
      await store.write(name, bytes);
      if ((await digestThere(store, name)) !== digest)
        throw archiveError(
          'archive/replica',
          `${name} does not read back from ${store.where} as it was written.`,
          {
            advice: 'Do not rely on this store; use another.',
          },
        );
      there.set(name, bytes.length);
      report.written += 1;
      report.bytes += bytes.length;
    }
    known[name] = digest;
  }
  options.progress?.(files.length, files.length);
  return true;
}

async function digestThere(store: ReplicaStore, name: string): Promise<string | null> {
  const bytes = await store.read(name);
  return bytes === null ? null : sha256(bytes);
}

/**
 * Brings a whole archive back from a replica alone into an empty folder; then unlock its key, open it and verify it.
 * May be repeated after an interruption. `ring`: where the key ring goes, if not into the same folder. Throws `archive/replica`, `archive/not-an-archive`.
 */
export async function restoreReplica(
  store: ReplicaStore,
  folder: string,
  progress: (done: number, total: number) => void = () => undefined,
  ring = folder,
): Promise<{ readonly files: number; readonly bytes: number }> {
  await makeFolder(folder);
  const unfinished = path.join(folder, `restoring${UNFINISHED}`);
  const here = await readdir(folder);
  if (here.length > 0 && !here.includes(path.basename(unfinished)))
    throw archiveError('archive/not-an-archive', 'The folder to restore into is not empty.', {
      file: folder,
      advice: 'Choose an empty folder.',
    });
  const files = [...(await store.list())].filter(([name]) => OURS.test(name));
  if (!files.some(([name]) => name.startsWith(`${MANIFEST}/`)))
    throw archiveError('archive/replica', `There is no archive at ${store.where}.`, {
      advice: 'Check the address.',
    });
  await writeDurably(unfinished, new Uint8Array());
  // Lines last: an archive whose restoring was interrupted must not look like a whole one.
  files.sort(
    ([a], [b]) => Number(a.startsWith(MANIFEST)) - Number(b.startsWith(MANIFEST)) || (a < b ? -1 : 1),
  );
  let total = 0;
  for (const [done, [name, size]] of files.entries()) {
    progress(done, files.length);
    const file = path.join(name.startsWith(`${RING}/`) ? ring : folder, name);
    const had = await readFile(file).catch(() => null);
    total += size;
    if (had?.length === size) continue;
    const bytes = await store.read(name);
    if (bytes === null || bytes.length !== size)
      throw archiveError('archive/replica', `${name} cannot be read whole from ${store.where}.`, {
        advice: 'Try again: it goes on where it stopped.',
      });
    await makeFolder(path.dirname(file));
    await writeDurably(file, bytes);
  }
  await unlink(unfinished);
  progress(files.length, files.length);
  return { files: files.length, bytes: total };
}
