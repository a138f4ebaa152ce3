import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { openArchive } from './archive.ts';
import { keyOf, sealer } from './key.ts';
import { addUnlock, createKey, makeRecoveryKey, rotateKey, unlockKey } from './key-ring.ts';
import { tidy } from './packing.ts';
import { rewrapArchive } from './rewrap.ts';
import { verifyArchive } from './verify.ts';

let home: string;
let folder: string;
let keyFile: string;
beforeEach(() => {
  home = mkdtempSync(path.join(tmpdir(), 'ring-'));
  folder = path.join(home, 'archive');
  keyFile = path.join(home, 'key.txt');
});
afterEach(() => rmSync(home, { recursive: true, force: true }));

describe('the key ring', () => {
  it('takes a key file that age-keygen made, and makes one that age takes', async () => {
    execFileSync('age-keygen', ['-o', keyFile], { stdio: 'ignore' });
    const key = await createKey(folder, { keyFile });
    expect((await unlockKey(folder, { keyFile })).identity).toBe(key.identity);
    const plain = execFileSync('age', [
      '-d',
      '-i',
      keyFile,
      path.join(folder, 'keys/key-file.age'),
    ]).toString();
    expect(plain.trim()).toBe(key.identity);

    const other = path.join(home, 'other.txt');
    await addUnlock(folder, key, { keyFile: other });
    expect(execFileSync('age-keygen', ['-y', other]).toString().trim()).toMatch(/^age1/);
    expect((await unlockKey(folder, { keyFile: other })).identity).toBe(key.identity);
  });

  it('opens with the recovery key that was printed, and names a mistyped one', async () => {
    const key = await createKey(folder, { keyFile });
    const printed = await makeRecoveryKey(folder, key);
    expect((await unlockKey(folder, { identity: `  ${printed}\n` })).identity).toBe(key.identity);
    const mistyped = printed.slice(0, 30) + (printed[30] === 'Q' ? 'P' : 'Q') + printed.slice(31);
    await expect(unlockKey(folder, { identity: mistyped })).rejects.toMatchObject({
      code: 'archive/bad-key',
    });
  });

  it('after a rotation every way opens the new key, and what was sealed before still opens', async () => {
    const key = await createKey(folder, { keyFile, passphrase: 'old words', work: 4 });
    const printed = await makeRecoveryKey(folder, key);
    const sealed = await sealer(key).seal(Buffer.from('a secret'));
    await expect(rotateKey(folder, key)).rejects.toMatchObject({ code: 'archive/no-key' });
    const fresh = await rotateKey(folder, key, 'new words', 4);
    expect(fresh.identity).not.toBe(key.identity);
    for (const way of [
      { keyFile },
      { passphrase: 'new words' },
      { identity: printed },
      { identity: fresh.identity },
    ]) {
      const unlocked = await unlockKey(folder, way);
      expect(unlocked.identity).toBe(fresh.identity);
      expect(Buffer.from(await sealer(unlocked).open(sealed)).toString()).toBe('a secret');
    }
    await expect(unlockKey(folder, { passphrase: 'old words' })).rejects.toMatchObject({
      code: 'archive/wrong-key',
    });
    const third = await rotateKey(folder, await unlockKey(folder, { keyFile }), 'new words', 4);
    expect(third.older).toHaveLength(2);
    expect(Buffer.from(await sealer(await unlockKey(folder, { keyFile })).open(sealed)).toString()).toBe(
      'a secret',
    );
  });

  it('interrupted between two ways, opens by both, and the rotation can be finished', async () => {
    const key = await createKey(folder, { keyFile, passphrase: 'words', work: 4 });
    const before = path.join(home, 'before');
    cpSync(folder, before, { recursive: true });
    await rotateKey(folder, key, 'words', 4);
    // As it was when only the key file had been done: the passphrase still opens the old key, `next` leads on.
    const fresh = await unlockKey(folder, { keyFile });
    cpSync(path.join(before, 'keys/passphrase.age'), path.join(folder, 'keys/passphrase.age'));
    const { Encrypter } = await import('age-encryption');
    const encrypter = new Encrypter();
    encrypter.addRecipient(key.recipient);
    writeFileSync(path.join(folder, 'keys/next.age'), await encrypter.encrypt(`${fresh.identity}\n`));
    for (const way of [{ keyFile }, { passphrase: 'words' }])
      expect((await unlockKey(folder, way)).identity).toBe(fresh.identity);
    const finished = await rotateKey(folder, await unlockKey(folder, { passphrase: 'words' }), 'words', 4);
    expect(finished.identity).toBe(fresh.identity);
    expect((await unlockKey(folder, { passphrase: 'words' })).identity).toBe(fresh.identity);
  });

  it('re-wraps the whole archive, after which the old key opens none of it', async () => {
    const key = await createKey(folder, { keyFile });
    const archive = await openArchive({ folder, key });
    const put = (n: number) =>
      archive.put({
        device: 'north-mole-2',
        at: new Date(Date.UTC(2026, 0, 1 + n)).toISOString(),
        source: 'round',
        release: null,
        slot: null,
        run: null,
        files: [{ name: 'running.conf', bytes: Buffer.from(`version ${n}\n`) }],
      });
    for (let n = 0; n < 18; n += 1) await put(n);
    await tidy(archive.inside);
    for (let n = 18; n < 22; n += 1) await put(n);
    await archive.close();
    const fresh = await rotateKey(folder, key);
    const again = await openArchive({ folder, key: fresh });
    expect(await rewrapArchive(again.inside)).toEqual({ done: 5, damaged: [] });
    expect(await rewrapArchive(again.inside)).toEqual({ done: 0, damaged: [] });
    expect(await verifyArchive(again.inside)).toMatchObject({ good: true, goodCaptures: 22 });
    await again.close();
    // A holder of the old key alone finds nothing to open; the new key alone opens all.
    await expect(openArchive({ folder, key: await keyOf(key.identity) })).rejects.toMatchObject({
      code: 'archive/wrong-key',
    });
    const alone = await openArchive({ folder, key: await keyOf(fresh.identity) });
    expect(await verifyArchive(alone.inside)).toMatchObject({ good: true, goodCaptures: 22 });
    await alone.close();
    expect(readFileSync(path.join(folder, 'head.json'), 'utf8')).toContain(fresh.verifying);
  });
});
