import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';

const decrypt = (identity: string, file: string) =>
  execFileSync('age', ['-d', '-i', identity, '-o', '/dev/null', file]);

/**
 * Seconds that the program `age -d` takes for every container of an archive, one call each; and in one go for one
 * file that holds as many bytes.
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
  const whole = path.join(home, 'whole.age');
  execFileSync('age', ['-r', recipient, '-o', whole], {
    input: Buffer.concat(files.map((file) => readFileSync(file))),
  });
  const again = performance.now();
  decrypt(identity, whole);
  return { files: files.length, bytes, each, whole: (performance.now() - again) / 1000 };
}
