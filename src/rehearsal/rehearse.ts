import { type Archive, type Capture, configurationDigest } from '#archive';
import { TuckpointError } from '#core/errors';
import { type CapturePart, readCapture } from '#dialects';
import { rulesetRoots } from '#dialects/nftables';
import { type Loaded, loadNftables } from './load.ts';

/** How far a capture was proven by use. */
export interface Rehearsal {
  readonly id: string;
  readonly device: string;
  /** What is wrong with its bytes; null: opened, and every digest is right. */
  readonly damage: string | null;
  /** What each dialect made of its files, and how many statements it did not understand. */
  readonly read: readonly {
    readonly dialect: string;
    readonly files: readonly string[];
    readonly objects: number;
    readonly notUnderstood: number;
  }[];
  /** Files that nothing reads, with the reason. */
  readonly unread: readonly { readonly name: string; readonly why: string }[];
  /** A dialect knows its language and cannot read it, and why. */
  readonly misread: string | null;
  /** Null: no dialect of it can be loaded. */
  readonly load: Loaded | null;
  /** All that can be tried was tried here, and went well. */
  readonly proven: boolean;
}

/** Opens a capture, reads it, and loads what can be loaded. Throws `archive/unknown-capture`. */
export async function rehearse(
  archive: Pick<Archive, 'get'>,
  id: string,
  device: string,
): Promise<Rehearsal> {
  const nothing = {
    id,
    device,
    damage: null,
    read: [],
    unread: [],
    misread: null,
    load: null,
    proven: false,
  };
  let capture: Capture;
  try {
    capture = await archive.get(id);
    if (configurationDigest(capture.files) !== capture.record.digest)
      return { ...nothing, damage: 'Its files are not those that were captured.' };
  } catch (error) {
    if (!(error instanceof TuckpointError) || error.code === 'archive/unknown-capture') throw error;
    return { ...nothing, damage: error.text };
  }
  let parts: readonly CapturePart[];
  let unread: Rehearsal['unread'];
  try {
    ({ parts, unread } = readCapture(capture.files));
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    return { ...nothing, misread: error.text };
  }
  const read = parts.map(({ dialect, files, configuration }) => ({
    dialect: dialect.name,
    files: files.map(({ name }) => name),
    objects: configuration.objects.length,
    notUnderstood: configuration.opaque.length,
  }));
  const load = await loadCapture(capture, parts);
  const proven = read.length > 0 && (load === null || load.state === 'loaded');
  return { ...nothing, read, unread, load, proven };
}

/** Text where there is some: what nft prints as JSON does not always load again. */
export async function loadCapture(
  { files }: Pick<Capture, 'files'>,
  parts: readonly CapturePart[],
): Promise<Loaded | null> {
  const part = parts.find(({ dialect }) => dialect.name === 'nftables');
  if (part === undefined) return null;
  const { text, json } = rulesetRoots(part.files);
  const rulesets = part.files.map(({ name }) => name);
  if (text.length > 0) return loadNftables(files, rulesets, text, false);
  if (json.length === 1) return loadNftables(files, rulesets, json, true);
  return { state: 'not here', why: 'It is several rulesets as JSON, and which of them count is not known.' };
}
