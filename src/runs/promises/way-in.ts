import { createSocket } from 'node:dgram';
import { lookup } from 'node:dns/promises';
import { once } from 'node:events';
import { type AddressSet, numberSet, parseAddresses } from '#core/address';
import type { TrafficPromise } from '#core/traffic';
import type { DeviceRecord } from '#store';

/**
 * The promise that is always made: the workbench reaches the device for its login, and the device may answer.
 * `workbench` is the workbench's own address as the device sees it, unless addresses are translated between them.
 */
export function wayIn(
  device: Pick<DeviceRecord, 'name' | 'port'>,
  workbench: AddressSet,
  deviceAddress: AddressSet,
): TrafficPromise[] {
  const { family } = workbench;
  const port = numberSet([[device.port, device.port]]);
  const tcp = numberSet([[6, 6]]);
  return [
    {
      words: `The workbench reaches ${device.name} on port ${device.port}`,
      must: 'pass',
      path: 'to',
      families: [family],
      flow: {
        source: workbench,
        destination: deviceAddress,
        protocol: tcp,
        destinationPort: port,
        states: ['new', 'established'],
      },
    },
    {
      words: `${device.name} answers the workbench from port ${device.port}`,
      must: 'pass',
      path: 'from',
      families: [family],
      flow: {
        source: deviceAddress,
        destination: workbench,
        protocol: tcp,
        sourcePort: port,
        states: ['established'],
      },
    },
  ];
}

/**
 * The addresses at both ends of the way to a device: its own, and the workbench's towards it. No packet is sent: the
 * system only says which of its addresses it would send from. Null when the device's name has no address here.
 */
export async function endsOfTheWay(
  device: DeviceRecord,
): Promise<{ workbench: AddressSet; device: AddressSet } | null> {
  const found = await lookup(device.address).catch(() => null);
  if (found === null) return null;
  const socket = createSocket(found.family === 6 ? 'udp6' : 'udp4');
  try {
    socket.connect(device.port, found.address);
    await once(socket, 'connect');
    const workbench = parseAddresses(socket.address().address);
    const own = parseAddresses(found.address);
    return workbench === undefined || own === undefined ? null : { workbench, device: own };
  } catch {
    return null;
  } finally {
    socket.close();
  }
}
