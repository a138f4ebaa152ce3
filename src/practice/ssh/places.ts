import { mkdirSync, readdirSync, renameSync, rmdirSync, rmSync, statSync } from 'node:fs';
import { join, posix } from 'node:path';
import type { PracticeDevice } from '../device/practice-device.ts';
import type { Files } from '../disk/content.ts';

/** What stands at a path of the device's file tree. */
export type Entry =
  | { readonly kind: 'folder'; readonly names: readonly string[] }
  /** Bytes of a slot or the log: read only. */
  | { readonly kind: 'bytes'; readonly bytes: Uint8Array }
  /** A file under /incoming, at this place on the disk. */
  | { readonly kind: 'file'; readonly path: string; readonly size: number };

/**
 * The file tree that SFTP shows: `/config` (running slot), `/spare/config`, `/slots/N/config`, `/log/device.log`, all
 * read only, and `/incoming`, where files are put.
 */
export class Places {
  constructor(private readonly device: PracticeDevice) {}

  /** The absolute path without `.`, `..` and doubled strokes. Relative paths start at the root. */
  plain(path: string): string {
    return posix.resolve('/', path);
  }

  /** Null when nothing is there. */
  at(path: string): Entry | null {
    const { device } = this;
    const parts = this.plain(path).split('/').slice(1);
    const [first = '', ...rest] = parts;
    const spare = device.slots().find((slot) => !slot.running);
    if (first === '') {
      return { kind: 'folder', names: ['config', 'incoming', 'log', 'slots', ...(spare ? ['spare'] : [])] };
    }
    if (first === 'config') return inFiles(device.configuration(device.machine.state.running), rest);
    if (first === 'log') {
      const text = device.machine.log.lines.map((line) => `${line}\n`).join('');
      return inFiles(new Map([['device.log', Buffer.from(text)]]), rest);
    }
    if (first === 'spare' && spare !== undefined) {
      if (rest.length === 0) return { kind: 'folder', names: ['config'] };
      return rest[0] === 'config' ? inFiles(device.configuration(spare.id), rest.slice(1)) : null;
    }
    if (first === 'slots') {
      const ids = device.slots().map((slot) => slot.id);
      if (rest[0] === undefined) return { kind: 'folder', names: ids };
      if (!ids.includes(rest[0])) return null;
      if (rest.length === 1) return { kind: 'folder', names: ['config'] };
      return rest[1] === 'config' ? inFiles(device.configuration(rest[0]), rest.slice(2)) : null;
    }
    return first === 'incoming' ? this.incoming(path) : null;
  }

  /** The place on disk of a path that may be written, or null. */
  writable(path: string): string | null {
    const plain = this.plain(path);
    const parts = plain.split('/').slice(2);
    if (!plain.startsWith('/incoming/') || parts.some((part) => /[\\:\0]/.test(part))) return null;
    return join(this.device.disk.incoming, ...parts);
  }

  makeFolder(path: string): boolean {
    const place = this.writable(path);
    if (place === null) return false;
    mkdirSync(place);
    return true;
  }

  /** Removes a file, or an empty folder. */
  remove(path: string, what: 'file' | 'folder'): boolean {
    const place = this.writable(path);
    if (place === null) return false;
    if (what === 'folder') rmdirSync(place);
    else rmSync(place);
    return true;
  }

  rename(from: string, to: string): boolean {
    const [a, b] = [this.writable(from), this.writable(to)];
    if (a === null || b === null) return false;
    renameSync(a, b);
    return true;
  }

  private incoming(path: string): Entry | null {
    const place =
      this.writable(path) ?? (this.plain(path) === '/incoming' ? this.device.disk.incoming : null);
    const found = place === null ? undefined : statSync(place, { throwIfNoEntry: false });
    if (place === null || found === undefined) return null;
    if (found.isDirectory()) return { kind: 'folder', names: readdirSync(place) };
    return { kind: 'file', path: place, size: found.size };
  }
}

function inFiles(files: Files, parts: readonly string[]): Entry | null {
  const below = parts.join('/');
  const bytes = files.get(below);
  if (bytes !== undefined) return { kind: 'bytes', bytes };
  const start = below === '' ? '' : `${below}/`;
  const inside = [...files.keys()].filter((name) => name.startsWith(start));
  const names = new Set(inside.map((name) => name.slice(start.length).split('/')[0]!));
  return below !== '' && names.size === 0 ? null : { kind: 'folder', names: [...names] };
}
