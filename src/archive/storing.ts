import { isDeepStrictEqual } from 'node:util';
import { captureId } from './capture-id.ts';
import {
  containerName,
  type NewContainer,
  stageContainers,
  unwrapCapture,
  wrapCapture,
} from './container.ts';
import { byName, listingDigest, sha256 } from './digest.ts';
import type { Container, NewEntry } from './entry.ts';
import type { Inside } from './inside.ts';
import type { CaptureRecord, NewCapture } from './port.ts';

/** A capture with the digests of its files. */
export interface DigestedCapture {
  readonly capture: NewCapture;
  readonly files: CaptureRecord['files'];
  readonly digest: string;
}

export function digested(capture: NewCapture): DigestedCapture {
  const files = byName(
    capture.files.map(({ name, bytes }) => ({ name, size: bytes.length, sha256: sha256(bytes) })),
  );
  return { capture, files, digest: listingDigest(files) };
}

/** What a capture becomes: a line, and a container unless its device has had the same configuration before. */
interface Planned {
  readonly record: CaptureRecord;
  readonly container: NewContainer | null;
  line(container: Container | undefined): NewEntry;
}

function plan(inside: Inside, captures: readonly DigestedCapture[]): Planned[] {
  /** `device digest` -> id, of those stored in this very turn. */
  const now = new Map<string, string>();
  return captures.map(({ capture, files, digest }, i) => {
    const seq = inside.manifest.last + 1 + i;
    const { device, at, source, release, slot, run } = capture;
    const taken = { id: captureId(Date.parse(at), seq), device, at, source, release, slot, run };
    const record = { ...taken, digest, files };
    const as = inside.catalogue.holderWith(device, digest) ?? now.get(`${device} ${digest}`);
    if (as !== undefined) return { record, container: null, line: () => ({ kind: 'same', ...taken, as }) };
    now.set(`${device} ${digest}`, taken.id);
    const container: NewContainer = {
      name: containerName('captures', seq),
      plain: () => wrapCapture(record, capture.files),
      check: async (back) => {
        if (!isDeepStrictEqual((await unwrapCapture(back)).record, record))
          throw new Error('it is another capture');
      },
    };
    return {
      record,
      container,
      line: (file) => ({ kind: 'capture', ...taken, files: [...files], in: file! }),
    };
  });
}

/**
 * Stores captures, all of them or none: containers first, written, synced and read back; then their lines in one
 * segment of the manifest, which is made meanwhile. Call within `alone`, with nothing left to note in the manifest before.
 */
export async function storeCaptures(
  inside: Inside,
  captures: readonly DigestedCapture[],
): Promise<readonly CaptureRecord[]> {
  const first = inside.manifest.last + 1;
  const planned = plan(inside, captures);
  const news = planned.flatMap(({ container }) => container ?? []);
  const { containers, durable, discard } = await stageContainers(inside.folder, news, inside.sealing);
  const fileOf = new Map(news.map((container, i) => [container, containers[i]!]));
  try {
    await inside.append(
      planned.map(({ container, line }) => line(container === null ? undefined : fileOf.get(container))),
      durable,
    );
  } catch (cause) {
    await durable.catch(() => undefined);
    // Should the lines have reached the disk after all, then their files must stay.
    if (!(await inside.manifest.holds(first).catch(() => true))) await discard();
    throw cause;
  }
  return planned.map(({ record }) => inside.catalogue.record(record.id)!);
}
