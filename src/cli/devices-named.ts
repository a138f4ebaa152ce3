import { fits } from '#core/config';
import { TuckpointError } from '#core/errors';
import type { DeviceRecord, Store } from '#store';

/** How devices are named where there may be many, for help texts. */
export const DEVICES = 'devices by name, by a pattern with *, or as site:NAME';

/**
 * The devices that the words name, each once, in the order of the words.
 * @throws TuckpointError `store/unknown-device` for a word that names none.
 */
export async function devicesNamed(store: Store, words: readonly string[]): Promise<DeviceRecord[]> {
  const all = await store.devices.list();
  const found = new Map<string, DeviceRecord>();
  for (const word of words) {
    const site = /^site:(.+)$/.exec(word)?.[1];
    const named =
      site === undefined
        ? all.filter(({ name }) => fits(word, name))
        : all.filter((device) => fits(site, device.site));
    if (named.length === 0) {
      const known = site === undefined ? all.map(({ name }) => name) : [...new Set(all.map((d) => d.site))];
      throw new TuckpointError('store/unknown-device', `"${word}" names no device.`, {
        advice:
          all.length === 0
            ? 'No device is known yet: add one with "tuckpoint device add".'
            : `Known ${site === undefined ? 'devices' : 'sites'}: ${known.slice(0, 12).join(', ')}${known.length > 12 ? ', …' : ''}.`,
      });
    }
    for (const device of named) found.set(device.name, device);
  }
  return [...found.values()];
}
