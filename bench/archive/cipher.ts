import { execFileSync } from 'node:child_process';
import { readdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';

const decrypt = (identity: string, file: string) =>
  execFileSync('age', ['-d', '-i', identity, '-o', '/dev/null', file]);

/** Bytes of the one large file: enough that starting the program does not count. */
const LARGE = 256_000_000;

/** Seconds by the clock and of the processor that a large file takes. The content does not matter to a cipher. */
function largeFile(home: string, identity: string, recipient: string) {
  const file = path.join(home, 'large.age');
  const bash = (script: string, ...args: string[]) =>
    execFileSync('bash', ['-ec', `exec 2>&1; ${script}`, 'bash', ...args], { encoding: 'utf8' });
  bash('head -c "$1" /dev/zero | age -r "$2" -o "$3"', String(LARGE), recipient, file);
  const spent = bash('TIMEFORMAT="%R %U %S"; time age -d -i "$1" -o /dev/null "$2"', identity, file);
  rmSync(file);
  const [seconds, user, system] = spent.trim().split(' ').map(Number) as [number, number, number];
  return { bytes: LARGE, seconds, processorSeconds: user + system };
}

/**
 * What the program `age -d` takes: seconds for every container of an archive, one call each; and for one large file.
 */
export function ageDecrypts(archive: string, home: string, secret: string, recipient: string) {
  const identity = path.join(home, 'identity');
  writeFileSync(identity, `${secret}\n`, { mode: 0o600 });
  const files = ['captures', 'packs'].flatMap((kind) => {
    try {
      return readdirSync(path.join(archive, kind), { recursive: true, withFileTypes: true })
        .filter((entry) => entry.isFile())
        .map((entry) => path.join(entry.parentPath, entry.name));
    } catch {
      return [];
    }
  });
  const bytes = files.reduce((sum, file) => sum + statSync(file).size, 0);
  const started = performance.now();
  for (const file of files) decrypt(identity, file);
  const each = (performance.now() - started) / 1000;
  return { files: files.length, bytes, each, large: largeFile(home, identity, recipient) };
}
