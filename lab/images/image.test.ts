import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { parseImageFault } from './fault.ts';
import { type Image, writeImage } from './image.ts';
import { makerPublicPem } from './maker-key.ts';
import type { ReleaseOptions } from './release.ts';

describe('A firmware image', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-image-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  const make = (options: Partial<ReleaseOptions>, name = 'a.image'): Promise<Image> =>
    writeImage(join(folder, name), { version: '4.3.0', ...options });

  /** Does openssl find the statement signed by the maker? */
  function verifies(image: Image): boolean {
    execFileSync('tar', ['-xf', image.path, '-C', folder, 'release.json', 'release.sig']);
    writeFileSync(join(folder, 'maker.pem'), makerPublicPem);
    const { status } = spawnSync('openssl', [
      'pkeyutl',
      '-verify',
      '-pubin',
      '-inkey',
      join(folder, 'maker.pem'),
      '-rawin',
      '-in',
      join(folder, 'release.json'),
      '-sigfile',
      join(folder, 'release.sig'),
    ]);
    return status === 0;
  }

  it('is described by its sheet: release, models, least release to come from, digest', async () => {
    const image = await make({});
    const [digest] = execFileSync('sha256sum', [image.path], { encoding: 'utf8' }).split(' ');
    const size = readFileSync(image.path).length;
    expect(parse(readFileSync(image.sheet, 'utf8'))).toEqual({
      release: '4.3.0',
      models: ['Groyne 40'],
      from: '4.0.0',
      files: [{ name: 'a.image', size, sha256: digest }],
    });
  });

  it('is the same bytes whenever it is made', async () => {
    expect((await make({}, 'b.image')).sha256).toBe((await make({}, 'c.image')).sha256);
  });

  it('carries a signature that openssl verifies, unless it is to be a bad one', async () => {
    expect(verifies(await make({}))).toBe(true);
    expect(verifies(await make({ fault: { kind: 'bad-signature' } }))).toBe(false);
  });

  it('states the digest of every member as sha256sum finds it', async () => {
    const image = await make({ fault: { kind: 'interface-down', leg: 'dmz' } });
    const into = mkdtempSync(join(folder, 'members-'));
    execFileSync('tar', ['-xf', image.path, '-C', into]);
    const { members } = JSON.parse(readFileSync(join(into, 'release.json'), 'utf8'));
    for (const { name, sha256 } of members)
      expect(execFileSync('sha256sum', [join(into, name)], { encoding: 'utf8' })).toMatch(
        new RegExp(`^${sha256} `, 'u'),
      );
  });

  it.each(['truncated', 'tampered'] as const)(
    'that is %s does not have the digest of its sheet',
    async (kind) => {
      const image = await make({ fault: { kind } });
      const sheet = parse(readFileSync(image.sheet, 'utf8'));
      expect(sheet.files[0].sha256).not.toBe(image.sha256);
      expect(sheet.files[0].sha256).toBe((await make({})).sha256);
    },
  );

  it('refuses a release number and a fault that are none', async () => {
    await expect(make({ version: 'newest' })).rejects.toMatchObject({ code: 'lab/input' });
    expect(() => parseImageFault('packet-loss=0')).toThrow(/not a fault/u);
    expect(() => parseImageFault('interface-down=mgmt')).toThrow(/not a fault/u);
    expect(parseImageFault('packet-loss=12')).toEqual({ kind: 'packet-loss', percent: 12 });
  });
});
