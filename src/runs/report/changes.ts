import { createTwoFilesPatch } from 'diff';
import { SecretHider } from '#core/config';
import type { FileChange } from './run-report.ts';

/** A file of a configuration, as links and the archive give it. */
export interface ComparedFile {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/**
 * The files that differ between two captures, by name, each with its unified difference (three lines around each
 * change, as `diff -u` prints), secrets hidden. Bytes that are not UTF-8 text are only said to differ.
 */
export function configurationChanges(
  before: readonly ComparedFile[],
  after: readonly ComparedFile[],
): readonly FileChange[] {
  const names = [...new Set([...before, ...after].map((file) => file.name))].sort();
  return names.flatMap((name) => {
    const then = before.find((file) => file.name === name);
    const now = after.find((file) => file.name === name);
    if (then && now && sameBytes(then.bytes, now.bytes)) return [];
    const change = then === undefined ? 'added' : now === undefined ? 'removed' : 'changed';
    return [{ name, change, difference: difference(name, then?.bytes, now?.bytes) } as const];
  });
}

function difference(name: string, then: Uint8Array | undefined, now: Uint8Array | undefined): string | null {
  const [whole, changed] = [textOf(then), textOf(now)];
  if (whole === null || changed === null) return null;
  // Reports stand on the disk in clear.
  const hider = new SecretHider();
  const [a, b] = [hider.text(whole), hider.text(changed)];
  const from = then === undefined ? '/dev/null' : `before/${name}`;
  const to = now === undefined ? '/dev/null' : `after/${name}`;
  return createTwoFilesPatch(from, to, a, b, undefined, undefined, { context: 3 })
    .split('\n')
    .filter((line, i) => i > 0 || !line.startsWith('====='))
    .join('\n');
}

/** Null for bytes that are no text: not UTF-8, or with a NUL among them. */
function textOf(bytes: Uint8Array | undefined): string | null {
  if (bytes === undefined) return '';
  if (bytes.includes(0)) return null;
  try {
    return new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch {
    return null;
  }
}

function sameBytes(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && a.every((byte, i) => byte === b[i]);
}
