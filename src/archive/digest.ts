import { hash } from 'node:crypto';
import type { CaptureFile } from './port.ts';

/** SHA-256 (FIPS 180-4) as 64 lower-case hex digits. */
export function sha256(bytes: Uint8Array | string): string {
  return hash('sha256', bytes);
}

/** One line as `sha256sum` of GNU coreutils prints it, with its escapes for odd names. */
function listingLine(digest: string, name: string): string {
  const escaped = name.replaceAll('\\', '\\\\').replaceAll('\n', '\\n').replaceAll('\r', '\\r');
  return `${escaped === name ? '' : '\\'}${digest}  ${escaped}\n`;
}

/** Names in the order of their UTF-8 bytes, as `LC_ALL=C sort` puts them. */
export function byName<T extends { readonly name: string }>(items: readonly T[]): T[] {
  return [...items].sort((a, b) => Buffer.compare(Buffer.from(a.name), Buffer.from(b.name)));
}

/**
 * The digest of a configuration whose files are known by their digests. It is the SHA-256 of the listing that
 * `sha256sum` prints for the files, sorted by name (bytes): anyone can compute it with that program alone.
 */
export function listingDigest(files: readonly { readonly name: string; readonly sha256: string }[]): string {
  return sha256(
    byName(files)
      .map((file) => listingLine(file.sha256, file.name))
      .join(''),
  );
}

/**
 * The digest of a configuration: 64 lower-case hex digits. The same files (names and bytes) have the same digest
 * on every device and day, in whatever order they came.
 */
export function configurationDigest(files: readonly CaptureFile[]): string {
  return listingDigest(files.map((file) => ({ name: file.name, sha256: sha256(file.bytes) })));
}
