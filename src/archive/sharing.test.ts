import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { compressed } from './compressor.ts';
import { encryptWithPassphrase, freshKey } from './key.ts';
import { scratchArchive } from './scratch.reference.ts';
import { exportCapture, importCapture } from './sharing.ts';

const scratch = scratchArchive();
const work = 4;

describe('an exported capture', () => {
  it('is unpacked by age, zstd and tar alone', async () => {
    const capture = await scratch.archive.get((await scratch.put(0)).id);
    const identity = path.join(scratch.home, 'id.txt');
    const recipient = execFileSync('sh', [
      '-c',
      `age-keygen -o ${identity} 2>/dev/null; age-keygen -y ${identity}`,
    ]);
    const bytes = await exportCapture(capture, { recipients: [recipient.toString().trim()] });
    writeFileSync(path.join(scratch.home, 'capture.age'), bytes);
    mkdirSync(path.join(scratch.home, 'out'));
    execFileSync('sh', ['-ec', 'age -d -i ../id.txt ../capture.age | zstd -d | tar -x'], {
      cwd: path.join(scratch.home, 'out'),
    });
    expect(readFileSync(path.join(scratch.home, 'out/files/running.conf'))).toEqual(
      Buffer.from(capture.files[0]!.bytes),
    );
  });

  it('is taken back by another archive, with its time, release and slot', async () => {
    const { id, digest, at } = await scratch.put(0);
    const bytes = await exportCapture(await scratch.archive.get(id), {
      passphrase: 'four harbour words',
      work,
    });
    const back = await scratch.archive.put(await importCapture(bytes, { passphrase: 'four harbour words' }));
    expect(back).toMatchObject({ source: 'import', digest, at, release: '7.2.4', slot: '1', run: null });
  });

  it('with the wrong passphrase, or meant for someone else, says so in one sentence', async () => {
    const capture = await scratch.archive.get((await scratch.put(0)).id);
    const bytes = await exportCapture(capture, { passphrase: 'right', work });
    await expect(importCapture(bytes, { passphrase: 'wrong' })).rejects.toMatchObject({
      code: 'archive/wrong-key',
      message: 'The passphrase does not open this file.',
    });
    const [mine, theirs] = [await freshKey(), await freshKey()];
    const sealed = await exportCapture(capture, { recipients: [theirs.recipient] });
    await expect(importCapture(sealed, { identities: [mine.identity] })).rejects.toMatchObject({
      code: 'archive/wrong-key',
      message: 'This file is encrypted for someone else.',
    });
  });

  it('that is damaged, or something else altogether, is refused', async () => {
    const capture = await scratch.archive.get((await scratch.put(0)).id);
    const open = { passphrase: 'right' };
    const bytes = await exportCapture(capture, { ...open, work });
    bytes[bytes.length - 3]! ^= 1;
    await expect(importCapture(bytes, open)).rejects.toMatchObject({ code: 'archive/bad-import' });
    await expect(importCapture(Buffer.from('hello'), open)).rejects.toMatchObject({
      code: 'archive/bad-import',
    });
    const wrong = await encryptWithPassphrase('right', await compressed(Buffer.alloc(4096)), work);
    await expect(importCapture(wrong, open)).rejects.toMatchObject({ code: 'archive/bad-import' });
  });

  it('that would unpack to more than the limit is refused before it is unpacked', async () => {
    const bomb = await encryptWithPassphrase('right', await compressed(Buffer.alloc(64 << 20)), work);
    expect(bomb.length).toBeLessThan(20_000);
    await expect(importCapture(bomb, { passphrase: 'right' }, 1 << 20)).rejects.toMatchObject({
      code: 'archive/bad-import',
      message: expect.stringContaining('larger than 1048576 bytes'),
    });
    // Made in a pipe by zstd(1), which then declares no size.
    const piped = execFileSync('zstd', ['-q', '-c'], { input: Buffer.alloc(8 << 20) });
    const undeclared = await encryptWithPassphrase('right', piped, work);
    await expect(importCapture(undeclared, { passphrase: 'right' }, 1 << 20)).rejects.toMatchObject({
      message: expect.stringContaining('larger than 1048576 bytes'),
    });
  });
});

describe('zstd', () => {
  it('content compressed by the zstd program from a pipe, its size unknown, is read', async () => {
    const { decompressed } = await import('./compressor.ts');
    const text = Buffer.from('permit any any\n'.repeat(500_000));
    const frame = execFileSync('zstd', ['-q', '-c'], { input: text, maxBuffer: 1 << 26 });
    expect(Buffer.compare(await decompressed(frame), text)).toBe(0);
    await expect(decompressed(frame, 1000)).rejects.toThrow();
  });
});
