import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, it } from 'vitest';
import {
  execHandbook,
  hasSshd,
  type RealSshd,
  scriptDevice,
  shellHandbook,
  startSshd,
} from './fixture/index.ts';
import { parseHandbook } from './handbook/index.ts';
import { openLink } from './index.ts';
import { linkContract } from './port/index.ts';

const bytes = (text: string) => new TextEncoder().encode(text);
const configuration = [
  { name: 'base.conf', bytes: bytes('name north-mole-fw1\n\n  indented  \n') },
  { name: 'rules/policy.conf', bytes: bytes(`${'permit inside outside\n'.repeat(40)}deny any any\n`) },
];

/** The far end is OpenSSH's own server, sftp-server and scp, and curl: programs that nobody here wrote. */
describe.skipIf(!hasSshd).each([
  ['a plain login, files by SFTP', (folder: string) => execHandbook(folder, 'sftp'), 'plain', 'all'],
  ['a plain login, files by SCP', (folder: string) => execHandbook(folder, 'scp'), 'plain', 'files'],
  ['a command shell, files pulled over HTTP', shellHandbook, 'shell', 'all'],
] as const)('a link over SSH with %s', (_, handbook, login, scope) => {
  const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-links-'));
  let sshd: RealSshd;
  let hostKey: string | null = null;
  beforeAll(async () => {
    sshd = await startSshd(join(folder, 'ssh'), join(folder, 'device', 'console'));
  });
  afterAll(async () => {
    await sshd.stop();
    rmSync(folder, { recursive: true, force: true });
  });

  for (const { statement, check } of linkContract) {
    // SCP differs from SFTP in how files move: the rest was shown before.
    if (scope === 'files' && !/captur|applied|transferred/u.test(statement)) continue;
    it(statement, async () => {
      rmSync(join(folder, 'device'), { recursive: true, force: true });
      const device = scriptDevice(join(folder, 'device'));
      const open = () =>
        openLink(
          { name: 'gull-quay-fw1', address: '127.0.0.1', port: sshd.port, user: sshd.user, hostKey },
          parseHandbook(handbook(device.folder), 'script.yaml'),
          { privateKey: login === 'plain' ? sshd.privateKey : sshd.shellKey, upkeep: 'low tide' },
          {
            now: () => '2026-03-01T08:00:00Z',
            pinHostKey: async (fingerprint) => {
              hostKey = fingerprint;
            },
          },
        );
      const link = await open();
      try {
        await check({
          link,
          file: device.firmware('4.3.0', true),
          release: '4.3.0',
          forged: device.firmware('4.4.0', false),
          configuration,
          reopen: open,
          stop: async () => undefined,
        });
      } finally {
        await link.close();
      }
    });
  }
});
