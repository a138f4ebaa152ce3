import { expect, it } from 'vitest';
import { FACTORY_RUNNING, type ImageFault } from '../../lab/index.ts';
import { ask, bring, tell } from './login.ts';
import { withLab } from './with-lab.ts';

withLab('A gateway refuses', { count: 1 }, (stand) => {
  /** The sentence with which the command is refused; the slots must be as they were. */
  async function refusal(command: string): Promise<string> {
    const before = await ask(stand.gateway, 'slotctl list');
    const { status, stderr } = await tell(stand.gateway, command);
    expect(status).toBe(1);
    expect(await ask(stand.gateway, 'slotctl list')).toBe(before);
    return stderr.trim();
  }
  async function refusedImage(fault: ImageFault, more = {}): Promise<string> {
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0', fault, ...more }));
    return refusal(`slotctl install ${path}`);
  }

  it.each([
    ['bad-signature', 'refused: the signature does not verify'],
    ['wrong-model', 'refused: the release is for model Groyne 200, this is a Groyne 40'],
    ['truncated', 'refused: the archive is cut short or is not a release'],
    [
      'tampered',
      'refused: a member of the release is missing or its digest differs; the archive is cut short or altered',
    ],
  ] as const)('an image that is %s', async (kind, sentence) => {
    expect(await refusedImage({ kind })).toBe(sentence);
  });

  it('a release that wants to come from a later one', async () => {
    const image = await stand.lab.makeImage({ version: '5.0.0', from: '4.10.0' });
    const path = await bring(stand.gateway, image);
    expect(await refusal(`slotctl install ${path}`)).toBe(
      `refused: the release wants to come from 4.10.0 or later, this runs ${FACTORY_RUNNING}`,
    );
  });

  it('a file that is not there, a slot that is not there', async () => {
    expect(await refusal('slotctl install /incoming/none')).toBe('refused: there is no file /incoming/none');
    expect(await refusal('slotctl boot 3')).toBe('refused: there is no slot 3');
  });

  it('a configuration whose rules do not load, or that lacks a file', async () => {
    const copy = 'rm -rf /incoming/new && cp -rL /config /incoming/new';
    await ask(stand.gateway, `${copy} && echo 'table inet odd {' >>/incoming/new/nftables.conf`);
    expect(await refusal('slotctl load /incoming/new')).toMatch(
      /^refused: nftables\.conf does not load: .*syntax error/u,
    );
    await ask(stand.gateway, `${copy} && rm /incoming/new/interfaces`);
    expect(await refusal('slotctl load /incoming/new')).toBe('refused: the configuration lacks interfaces');
    await ask(stand.gateway, `${copy} && echo 'iface inside inet dhcp' >>/incoming/new/interfaces`);
    expect(await refusal('slotctl load /incoming/new')).toMatch(
      /^refused: interfaces:\d+: only inet and inet6 static/u,
    );
  });

  it('a second operation while one is under way', async () => {
    const first = tell(stand.gateway, 'flock /run/slotctl.lock sleep 2');
    await expect
      .poll(async () => (await tell(stand.gateway, 'slotctl keep')).stderr)
      .toBe('refused: another operation is under way\n');
    await first;
  });

  it('to install, keep and load on a full disk, and is well afterwards', async () => {
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0' }));
    await ask(stand.gateway, 'rm -rf /incoming/new && cp -rL /config /incoming/new');
    stand.gateway.fillDisk(100 * 1024);
    expect(await refusal(`slotctl install ${path}`)).toBe('refused: no space left on the device (unpacking)');
    expect(await refusal('slotctl keep')).toBe('refused: no space left on the device (copying slot 1)');
    stand.gateway.fillDisk();
    expect(await refusal('slotctl load /incoming/new')).toMatch(/^refused: no space left on the device/u);
    await stand.gateway.powerCycle();
    await stand.gateway.untilWell();
    stand.gateway.freeDisk();
    await ask(stand.gateway, `slotctl install ${path}`);
    // Nothing of the refused attempts is left behind.
    expect((await ask(stand.gateway, 'ls /disk/store')).trim().split('\n')).toHaveLength(2);
  });

  it('a login without the key', async () => {
    const { status, stderr } = await stand.gateway.hosts.inside.run(
      'ssh',
      '-F',
      '/dev/null',
      '-o',
      'BatchMode=yes',
      '-o',
      'ConnectTimeout=2',
      'keeper@10.1.10.1',
      'true',
    );
    // From the inside leg not even the port answers; from the management leg the key is asked for.
    expect([status, stderr]).toEqual([255, expect.stringContaining('timed out')]);
  });
});
