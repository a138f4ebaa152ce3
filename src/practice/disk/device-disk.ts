import { randomBytes } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
import type { ReleaseManifest } from '../image/manifest.ts';
import type { Content, Files } from './content.ts';
import { writeDurably, writeFolderDurably } from './durable.ts';
import type { DeviceState } from './state.ts';

/**
 * The disk of one practice device: immutable contents in folders, and one state file that says which slot holds
 * which. A change first writes a new content whole, then replaces the state file; a stop at any instant leaves the
 * state before or after. Contents that nothing names any more are removed afterwards and at start.
 */
export class DeviceDisk {
  readonly incoming: string;
  private readonly contents: string;
  private readonly stateFile: string;

  constructor(readonly folder: string) {
    this.incoming = join(folder, 'incoming');
    this.contents = join(folder, 'contents');
    this.stateFile = join(folder, 'state.json');
    mkdirSync(this.incoming, { recursive: true });
    mkdirSync(this.contents, { recursive: true });
  }

  /** Has this device been made before? */
  get made(): boolean {
    return existsSync(this.stateFile);
  }

  readState(): DeviceState {
    return JSON.parse(readFileSync(this.stateFile, 'utf8')) as DeviceState;
  }

  writeState(state: DeviceState): void {
    writeDurably(this.stateFile, `${JSON.stringify(state, null, 1)}\n`);
  }

  /** Writes a content and returns its name. Nothing uses it until a state names it. */
  addContent(content: Content): string {
    const name = randomBytes(8).toString('hex');
    const files = new Map<string, Uint8Array>();
    const { manifest, settledFor } = content;
    files.set('content.json', Buffer.from(`${JSON.stringify({ manifest, settledFor }, null, 1)}\n`));
    for (const [file, bytes] of content.members) files.set(`members/${file}`, bytes);
    for (const [file, bytes] of content.configuration) files.set(`configuration/${file}`, bytes);
    writeFolderDurably(join(this.contents, name), files);
    return name;
  }

  readContent(name: string): Content {
    const folder = join(this.contents, name);
    const facts = JSON.parse(readFileSync(join(folder, 'content.json'), 'utf8')) as {
      manifest: ReleaseManifest;
      settledFor: string;
    };
    return { ...facts, members: readFiles(join(folder, 'members')), configuration: this.configuration(name) };
  }

  configuration(content: string): Files {
    return readFiles(join(this.contents, content, 'configuration'));
  }

  manifest(content: string): ReleaseManifest {
    const text = readFileSync(join(this.contents, content, 'content.json'), 'utf8');
    return (JSON.parse(text) as { manifest: ReleaseManifest }).manifest;
  }

  /** Removes contents no slot and no armed return names, and folders left half-written. */
  sweep(state: DeviceState): void {
    const named = new Set(state.slots.map((slot) => slot.content));
    if (state.returning !== null) named.add(state.returning.content);
    for (const entry of readdirSync(this.contents)) {
      if (!named.has(entry)) rmSync(join(this.contents, entry), { recursive: true, force: true });
    }
  }

  /** Bytes that files brought onto the device take. */
  incomingBytes(): number {
    let total = 0;
    for (const bytes of readFiles(this.incoming).values()) total += bytes.length;
    return total;
  }
}

/** All files below a folder, named by their path in it with `/`. An absent folder has none. */
export function readFiles(folder: string): Map<string, Uint8Array> {
  const files = new Map<string, Uint8Array>();
  if (!existsSync(folder)) return files;
  const entries = readdirSync(folder, { recursive: true, withFileTypes: true });
  for (const entry of entries) {
    if (!entry.isFile()) continue;
    const path = join(entry.parentPath, entry.name);
    files.set(relative(folder, path).split(sep).join('/'), readFileSync(path));
  }
  return files;
}
