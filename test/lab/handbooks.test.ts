import { readdirSync, readFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { expect, it } from 'vitest';
import { openLink, readHandbook } from '#links';
import { entryOf, FACTORY_RUNNING, FACTORY_SPARE, type Image } from '../../lab/index.ts';
import { ask } from './login.ts';
import { withLab } from './with-lab.ts';

type Link = Awaited<ReturnType<typeof openLink>>;

/** The same story through each login: everything goes through the handbook, nothing about the lab is in the links. */
for (const login of ['plain', 'shell'] as const)
  withLab(`The handbook for the ${login} login of a lab gateway`, { count: 1 }, (stand) => {
    async function withLink<T>(work: (link: Link) => Promise<T>): Promise<T> {
      const { handbook, secrets, ...target } = entryOf(stand.gateway.reach, login);
      const link = await openLink(target, await readHandbook(handbook), secrets, {
        pinHostKey: () => Promise.reject(new Error('the host key is pinned already')),
        now: () => new Date().toISOString(),
      });
      try {
        return await work(link);
      } finally {
        await link.close();
      }
    }
    const release = (image: Image) => ({ ...image, name: basename(image.path) });
    /** The bytes as they lie on the disk of the gateway, looked at from this machine. */
    const onDisk = (slot: string) => {
      const folder = join(stand.gateway.folder, 'disk/slots', slot, 'config');
      return Object.fromEntries(
        readdirSync(folder).map((name) => [name, readFileSync(join(folder, name), 'utf8')]),
      );
    };
    const captured = async (link: Link, slot: 'running' | 'spare') =>
      Object.fromEntries(
        (await link.capture(slot)).map(({ name, bytes }) => [name, Buffer.from(bytes).toString('utf8')]),
      );

    it('identifies it, lists its slots and captures both configurations byte for byte', async () => {
      await withLink(async (link) => {
        expect(await link.identify()).toMatchObject({ model: 'Groyne 40', release: FACTORY_RUNNING });
        expect(await link.slots()).toMatchObject({
          slots: [
            { id: '1', release: FACTORY_RUNNING },
            { id: '2', release: FACTORY_SPARE },
          ],
          running: '1',
          next: '1',
        });
        expect(await captured(link, 'running')).toEqual(onDisk('1'));
        expect(await captured(link, 'spare')).toEqual(onDisk('2'));
      });
    });

    it('reads its state: every leg up, nothing lost, nothing unread but what net-snmp shows late', async () => {
      await withLink(async (link) => {
        const reading = await link.reading();
        // Right after a boot net-snmp shows no hrProcessorLoad yet (the handbook has a command for it as well) and may
        // count octets without packets; the reading says so. Nothing else may be missing.
        const late = ['processor', 'packets in', 'packets out'];
        expect(reading.notRead.filter(({ what }) => !late.includes(what))).toEqual([]);
        expect(reading.processorPercent).not.toBe(null);
        const legs = reading.interfaces.filter(({ name }) => name !== 'lo');
        expect(legs.map(({ name, admin, oper }) => `${name} ${admin} ${oper}`).sort()).toEqual(
          ['dmz', 'inside', 'mgmt', 'outside'].map((name) => `${name} up up`),
        );
        expect(legs.every(({ counterBits, inOctets }) => counterBits === 64 && inOctets !== null)).toBe(true);
        expect(reading.memory!.totalBytes).toBe(512 * 1024 * 1024);
        expect(reading.loss).toEqual(
          ['inside', 'dmz', 'outside'].map((target) => ({ target, sent: 250, lost: 0 })),
        );
        expect(reading.fields['automatic return']).toBe('not armed');
        expect((await link.report()).length).toBeGreaterThan(3);
      });
    });

    it('keeps, transfers, installs and boots a release, and takes it back by the spare', async () => {
      const image = release(await stand.lab.makeImage({ version: '4.3.0' }));
      await withLink(async (link) => {
        await link.keep();
        const there = await link.transfer(image);
        expect(there.verified).toBe(true);
        await link.install(there);
        expect((await link.slots()).slots.map((slot) => slot.release)).toEqual(['4.3.0', FACTORY_RUNNING]);
        const boots = stand.gateway.bootCount;
        await link.restart();
        await stand.gateway.untilWell(boots + 1);
        expect((await link.identify()).release).toBe('4.3.0');
        await link.clean();
        expect(await link.remoteFile(image)).toBe(null);
        await link.boot('spare');
        await stand.gateway.untilWell(boots + 2);
        expect((await link.identify()).release).toBe(FACTORY_RUNNING);
        await link.keep();
      });
    });

    it('passes on why the gateway refuses', async () => {
      const image = release(
        await stand.lab.makeImage({ version: '4.3.0', fault: { kind: 'bad-signature' } }),
      );
      await withLink(async (link) => {
        const there = await link.transfer(image);
        await expect(link.install(there)).rejects.toThrow(/the signature does not verify/u);
        await link.clean();
        stand.gateway.fillDisk();
        await expect(link.transfer(image)).rejects.toMatchObject({ code: 'links/no-space' });
        stand.gateway.freeDisk();
      });
    });

    it('applies a configuration, with a return that takes it back unless it is disarmed', async () => {
      await withLink(async (link) => {
        const before = await link.capture('running');
        const changed = before.map((file) =>
          file.name === 'hostname' ? { ...file, bytes: Buffer.from('gull-quay-fw2\n') } : file,
        );
        await link.armReturn(60);
        expect((await link.reading()).fields['automatic return']).toBe('armed');
        await link.apply(changed);
        await link.disarmReturn();
        expect(await ask(stand.gateway, 'slotctl return-state')).toBe('not armed\n');
        expect((await link.identify()).hostname).toBe('gull-quay-fw2');
        await link.armReturn(2);
        await link.apply(before);
        await expect
          .poll(async () => (await link.identify()).hostname, { timeout: 15_000 })
          .toBe('gull-quay-fw2');
      });
    });

    it('shuts it down', async () => {
      await withLink(async (link) => {
        await link.shutdown();
        await expect.poll(() => stand.gateway.state, { timeout: 10_000 }).toBe('off');
      });
    });
  });
