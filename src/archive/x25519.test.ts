import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { Decrypter, Encrypter, generateX25519Identity, identityToRecipient } from 'age-encryption';
import { afterAll, describe, expect, it } from 'vitest';
import { decryptWith, encryptTo } from './key.ts';

const home = mkdtempSync(path.join(tmpdir(), 'age-'));
afterAll(() => rmSync(home, { recursive: true }));
const sizes = [0, 1, 65_535, 65_536, 65_537, 200_000];

describe('an age file', () => {
  it.each(sizes)('of ours (%i bytes) is opened by the age program, and one of it by us', async (size) => {
    const plain = Buffer.alloc(size, 'x');
    const file = path.join(home, `id-${size}`);
    execFileSync('age-keygen', ['-o', file], { stdio: 'ignore' });
    const recipient = execFileSync('age-keygen', ['-y', file]).toString().trim();
    const identity = /^AGE-SECRET-KEY-1.*$/m.exec(execFileSync('cat', [file]).toString())![0];
    const ours = await encryptTo([recipient], plain);
    expect(Buffer.compare(execFileSync('age', ['-d', '-i', file], { input: ours }), plain)).toBe(0);
    const theirs = execFileSync('age', ['-r', recipient], { input: plain });
    expect(Buffer.compare(await decryptWith([identity], theirs), plain)).toBe(0);
  });

  it('for two is opened by each, by the package that we go around, and by nobody else', async () => {
    const identities = [
      await generateX25519Identity(),
      await generateX25519Identity(),
      await generateX25519Identity(),
    ];
    const recipients = await Promise.all(identities.slice(0, 2).map((one) => identityToRecipient(one)));
    const file = await encryptTo(recipients, Buffer.from('berth plan'));
    for (const identity of identities.slice(0, 2)) {
      expect(Buffer.from(await decryptWith([identity], file)).toString()).toBe('berth plan');
      const decrypter = new Decrypter();
      decrypter.addIdentity(identity);
      expect(await decrypter.decrypt(file, 'text')).toBe('berth plan');
    }
    await expect(decryptWith([identities[2]!], file)).rejects.toMatchObject({ code: 'archive/wrong-key' });
    const encrypter = new Encrypter();
    encrypter.addRecipient(recipients[0]!);
    const theirs = await encrypter.encrypt('x');
    expect(Buffer.from(await decryptWith(identities, theirs)).toString()).toBe('x');
  });

  it('of several chunks with one cut off, swapped or doubled is refused', async () => {
    const identity = await generateX25519Identity();
    const file = Buffer.from(
      await encryptTo([await identityToRecipient(identity)], Buffer.alloc(200_000, 'x')),
    );
    const chunk = 65_536 + 16;
    const begin = file.length - (200_000 + 4 * 16);
    const part = (n: number) => file.subarray(begin + n * chunk, begin + (n + 1) * chunk);
    const head = file.subarray(0, begin);
    for (const parts of [[0, 1, 2], [1, 0, 2, 3], [0, 0, 1, 2, 3], [0, 1, 3], [0, 1, 2, 3, 3], []])
      await expect(decryptWith([identity], Buffer.concat([head, ...parts.map(part)]))).rejects.toMatchObject({
        code: 'archive/damaged',
      });
    for (const length of [
      head.length - 1,
      file.length - 1,
      head.length + chunk,
      head.length + 2 * chunk + 16,
    ])
      await expect(decryptWith([identity], file.subarray(0, length))).rejects.toMatchObject({
        code: 'archive/damaged',
      });
  });

  it('with any one byte changed is refused', async () => {
    const identity = await generateX25519Identity();
    const file = await encryptTo([await identityToRecipient(identity)], Buffer.from('berth plan'));
    for (let at = 0; at < file.length; at += 1) {
      const changed = file.slice();
      changed[at]! ^= 1;
      await expect(decryptWith([identity], changed)).rejects.toMatchObject({
        code: expect.stringMatching(/^archive\/(damaged|wrong-key)$/),
      });
    }
  });
});
