import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { expect, it } from 'vitest';
import { configurationDigest } from './digest.ts';

it('a configuration has the digest that sha256sum of GNU coreutils gives for its listing', () => {
  const folder = mkdtempSync(path.join(tmpdir(), 'digest-'));
  const files = [
    { name: 'running.conf', bytes: Buffer.from('hostname north-mole\n') },
    { name: 'Zone list.txt', bytes: Buffer.from('') },
    { name: 'odd\\name\nin two lines', bytes: Buffer.from([0, 1, 2]) },
    { name: 'ärger.pem', bytes: Buffer.from('x') },
  ];
  for (const { name, bytes } of files) writeFileSync(path.join(folder, name), bytes);
  const listing = "printf '%s\\0' * | LC_ALL=C sort -z | xargs -0 sha256sum -- | sha256sum | cut -c1-64";
  const expected = execFileSync('sh', ['-c', listing], { cwd: folder, env: { ...process.env, LC_ALL: 'C' } });
  expect(configurationDigest(files)).toBe(expected.toString().trim());
  expect(configurationDigest(files.toReversed())).toBe(configurationDigest(files));
  rmSync(folder, { recursive: true });
});
