import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import fc from 'fast-check';
import { afterAll, describe, expect, it } from 'vitest';
import { packTar, unpackTar } from './tar.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'tar-'));
afterAll(() => rmSync(folder, { recursive: true }));

const LONG = `${'a-long-folder-name/'.repeat(12)}${'ö'.repeat(60)}.conf`;

describe('a tar file', () => {
  it('of ours is unpacked by GNU tar', async () => {
    const tar = await packTar([{ name: LONG, bytes: Buffer.from('one\n') }], new Date(0));
    writeFileSync(path.join(folder, 'ours.tar'), tar);
    expect(execFileSync('tar', ['-xOf', path.join(folder, 'ours.tar'), LONG]).toString()).toBe('one\n');
  });

  it.each(['pax', 'ustar'])('that GNU tar made (%s) is read, links left out', (format) => {
    writeFileSync(path.join(folder, 'running.conf'), 'x'.repeat(1234));
    if (format === 'pax') {
      rmSync(path.join(folder, 'link'), { force: true });
      symlinkSync('/etc/passwd', path.join(folder, 'link'));
    }
    const names = format === 'pax' ? ['running.conf', 'link'] : ['running.conf'];
    const tar = execFileSync('tar', ['-cf', '-', `--format=${format}`, '-C', folder, ...names]);
    const entries = unpackTar(tar);
    expect(entries.map((e) => [e.name, e.bytes.length])).toEqual([['running.conf', 1234]]);
  });

  it('gives back any names and bytes', async () => {
    const part = fc
      .string({ unit: 'grapheme', minLength: 1, maxLength: 120 })
      .filter((s) => !/[/\0]|^\.+$/.test(s));
    const entry = fc.record({ name: part, bytes: fc.uint8Array({ maxLength: 2000 }) });
    await fc.assert(
      fc.asyncProperty(fc.array(entry, { maxLength: 5 }), async (entries) => {
        const back = unpackTar(await packTar(entries, new Date(0)));
        expect(back.map((e) => [e.name, [...e.bytes]])).toEqual(entries.map((e) => [e.name, [...e.bytes]]));
      }),
      { numRuns: 60 },
    );
  });

  it('cut anywhere is refused', async () => {
    const tar = await packTar([{ name: 'a', bytes: Buffer.alloc(700) }], new Date(0));
    for (let cut = 0; cut < tar.length - 1024; cut += 97)
      expect(() => unpackTar(tar.subarray(0, cut))).toThrow();
  });
});
