import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { command } from './command.ts';
import type { Release } from './images/release.ts';

/** What a box is from its making on, whatever its slots hold. */
export interface Box {
  readonly model: string;
  readonly serial: string;
  /** SNMP engine id, hex. */
  readonly engine: string;
  /** Memory the box reports (simulated), KiB. */
  readonly memoryKib: number;
  /** The maker's public key, PEM. */
  readonly makerKey: string;
}

export interface Pair {
  readonly release: Release;
  readonly configuration: Readonly<Record<string, string>>;
}

function put(path: string, content: string | Buffer, mode = 0o644): void {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, content, { mode });
}

function writePair(folder: string, { release, configuration }: Pair): void {
  put(join(folder, 'release/release.json'), release.statement);
  put(join(folder, 'release/release.sig'), release.signature);
  for (const { name, bytes, executable } of release.members)
    put(join(folder, 'release', name), bytes, executable ? 0o755 : 0o644);
  for (const [name, text] of Object.entries(configuration)) put(join(folder, 'config', name), text);
}

/**
 * Makes a gateway's disk at `at`: a file system of its own of `mebibytes`, so that it can be full, with a pair in
 * each slot and slot 1 to boot. The disk is memory of this machine (tmpfs): it outlives every power loss of the
 * gateway, but not a restart of the machine.
 */
export async function makeDisk(
  at: string,
  mebibytes: number,
  box: Box,
  slots: readonly [Pair, Pair],
): Promise<void> {
  mkdirSync(at, { recursive: true });
  await command('mount', ['-t', 'tmpfs', '-o', `size=${mebibytes}m,mode=755`, 'gateway-disk', at]);
  put(
    join(at, 'identity'),
    `model='${box.model}'\nserial='${box.serial}'\nengine=${box.engine}\nmemory_kib=${box.memoryKib}\n`,
  );
  put(join(at, 'maker.pem'), box.makerKey);
  mkdirSync(join(at, 'slots'));
  mkdirSync(join(at, 'incoming'));
  for (const [index, pair] of slots.entries()) {
    writePair(join(at, 'store', `pair.factory${index + 1}`), pair);
    symlinkSync(`../store/pair.factory${index + 1}`, join(at, 'slots', `${index + 1}`));
  }
  put(join(at, 'boot/next'), '1\n');
  mkdirSync(join(at, 'keys'));
  await command('ssh-keygen', [
    '-q',
    '-t',
    'ed25519',
    '-N',
    '',
    '-C',
    box.serial,
    '-f',
    join(at, 'keys/ssh_host_ed25519_key'),
  ]);
}
