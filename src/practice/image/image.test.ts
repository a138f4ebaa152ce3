import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { makePracticeImage, type PracticeImageOptions } from './make.ts';
import { compareReleases, type ReleaseManifest } from './manifest.ts';
import { openImage } from './open.ts';
import { makerPublicKey } from './signing.ts';

const folder = mkdtempSync(join(tmpdir(), 'practice-image-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const has = (program: string) => spawnSync(program, ['--version']).error === undefined;

const make = (name: string, more: Partial<PracticeImageOptions> = {}) =>
  makePracticeImage({
    out: join(folder, name),
    release: '4.2.0',
    models: ['Groyne 40'],
    size: 40_000,
    ...more,
  });
const refusal = async (name: string, more: Partial<PracticeImageOptions>, release = '4.1.3') => {
  const { path } = await make(name, more);
  return openImage(readFileSync(path), { model: 'Groyne 40', release }).then(
    () => 'taken',
    (error: { reason?: string }) => error.reason,
  );
};

describe('a practice image', () => {
  it('opens on its model, with the members it was made of', async () => {
    const { path } = await make('good.rel', { from: '4.1.0' });
    const { manifest, members } = await openImage(readFileSync(path), {
      model: 'Groyne 40',
      release: '4.1.3',
    });
    expect(manifest.release).toBe('4.2.0');
    expect(members.get('system.bin')).toHaveLength(40_000);
  });

  it('is the same file every time', async () => {
    expect((await make('a.rel')).sha256).toBe((await make('b.rel')).sha256);
  });

  it('is described by its sheet, digest and size of the whole file', async () => {
    const image = await make('sheet.rel', { from: '4.1.0', fault: { kind: 'packet-loss', percent: 20 } });
    expect(parse(readFileSync(image.sheet, 'utf8'))).toEqual({
      release: '4.2.0',
      models: ['Groyne 40'],
      from: '4.1.0',
      files: [{ name: 'sheet.rel', size: image.size, sha256: image.sha256 }],
    });
  });

  // Source: the program sha256sum of GNU coreutils.
  it.runIf(has('sha256sum'))('has the digest that sha256sum gives', async () => {
    const image = await make('sum.rel');
    expect(execFileSync('sha256sum', [image.path], { encoding: 'utf8' }).split(' ')[0]).toBe(image.sha256);
  });

  // Source: the programs tar and openssl, neither of which the image was made with.
  it.runIf(has('tar') && has('openssl'))('opens with tar, and openssl verifies its signature', async () => {
    const image = await make('outside.rel');
    execFileSync('tar', ['-xf', image.path, '-C', folder, 'release.json', 'release.json.sig', 'system.bin']);
    writeFileSync(join(folder, 'maker.pem'), makerPublicKey());
    const verify = () =>
      spawnSync(
        'openssl',
        [
          'pkeyutl',
          '-verify',
          '-pubin',
          '-inkey',
          'maker.pem',
          '-rawin',
          '-in',
          'release.json',
          '-sigfile',
          'release.json.sig',
        ],
        { cwd: folder, encoding: 'utf8' },
      );
    expect(verify().stdout).toContain('Signature Verified Successfully');
    const manifest = JSON.parse(readFileSync(join(folder, 'release.json'), 'utf8')) as ReleaseManifest;
    expect(manifest.members.find((member) => member.name === 'system.bin')?.size).toBe(40_000);
    writeFileSync(join(folder, 'release.json'), JSON.stringify({ ...manifest, release: '9.9.9' }));
    expect(verify().status).not.toBe(0);
  });
});

describe('a device refuses an image', () => {
  it.each<[string, Partial<PracticeImageOptions>, string]>([
    ['cut short', { flaw: 'cut-short' }, 'the archive is cut short'],
    ['signed by a stranger', { flaw: 'signed-by-a-stranger' }, 'the signature does not verify'],
    ['altered after signing', { flaw: 'member-altered' }, 'the digest of system.bin is not the signed one'],
    [
      'for another model',
      { models: ['Groyne 200'] },
      'release 4.2.0 is for model Groyne 200, this is Groyne 40',
    ],
    ['it cannot come to', { from: '4.1.9' }, 'release 4.2.0 needs 4.1.9 or later first, this is 4.1.3'],
  ])('%s', async (name, more, reason) => {
    expect(await refusal(`${name}.rel`, more)).toBe(reason);
  });

  it('cut at any length, and never takes it for whole', async () => {
    const { path } = await make('whole.rel', { size: 2000 });
    const whole = readFileSync(path);
    for (let length = 0; length < whole.length; length += 509) {
      const opened = openImage(whole.subarray(0, length), { model: 'Groyne 40', release: '4.1.3' });
      await expect(opened).rejects.toThrow('the archive is cut short');
    }
  });
});

describe('releases are ordered', () => {
  it('by number, not by letter', () => {
    expect(compareReleases('4.10.0', '4.9.2')).toBe(1);
    expect(compareReleases('4.1', '4.1.0')).toBe(0);
    expect(compareReleases('3.9.9', '4.0.0')).toBe(-1);
  });
});
