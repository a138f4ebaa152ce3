import { join } from 'node:path';
import ssh2 from 'ssh2';
import { makeDevice } from './device/first-state.ts';
import type { MachineOptions } from './device/machine.ts';
import { PracticeDevice } from './device/practice-device.ts';
import { type DeviceControl, deviceControl } from './device-control.ts';
import { DeviceDisk } from './disk/device-disk.ts';
import type { EstateDevice } from './estate/devices.ts';
import { modelOf } from './estate/models.ts';
import { fingerprint, keyIn, readAccess, somePort, writeAccess } from './ssh/keys.ts';
import { DeviceServer } from './ssh/server.ts';

/** How to reach one device. */
export interface PracticeAccess {
  readonly name: string;
  readonly site: string;
  readonly model: string;
  readonly address: string;
  readonly port: number;
  readonly user: string;
  readonly password: string;
  /** Path of the private key that may enter instead of the password. */
  readonly key: string;
  readonly upkeepWord: string;
  /** Name of the handbook, without ending: a file in handbooks/. */
  readonly handbook: string;
  /** Fingerprint as OpenSSH writes it, `SHA256:…`. */
  readonly hostKey: string;
}

export interface StartedDevice {
  readonly device: PracticeDevice;
  readonly server: DeviceServer;
  readonly access: PracticeAccess;
  readonly control: DeviceControl;
}

export interface DeviceSurroundings {
  /** The folder of all devices. */
  readonly folder: string;
  readonly machine: MachineOptions;
  /** Does the other device answer now? For pairs. */
  readonly answers: (name: string) => boolean;
}

/** Makes a device on its first start, takes it up again on a later one, and lets it answer. */
export async function startDevice(
  spec: EstateDevice,
  surroundings: DeviceSurroundings,
): Promise<StartedDevice> {
  const home = join(surroundings.folder, spec.name);
  const keys = join(surroundings.folder, 'keys');
  const disk = new DeviceDisk(home);
  if (!disk.made) makeDevice(spec, disk, surroundings.machine.now());
  const { user, password, upkeepWord } = readAccess(home);
  const device = new PracticeDevice(spec, disk, surroundings.machine, upkeepWord, surroundings.answers);
  const { server, port } = await openServer(home, keyIn(keys, 'keeper'), device);
  const access: PracticeAccess = {
    name: spec.name,
    site: spec.site,
    model: spec.model,
    address: '127.0.0.1',
    port,
    user,
    password,
    key: join(keys, 'keeper'),
    upkeepWord,
    handbook: modelOf(spec.model).handbook,
    hostKey: fingerprint(keyIn(home, 'host-key')),
  };
  device.machine.start();
  device.operations.watchReturn();
  return { device, server, access, control: deviceControl(device, server, home) };
}

/** Finds a free port the first time and keeps it afterwards, as long as it stays free. */
async function openServer(home: string, keeperKey: string, device: PracticeDevice) {
  const keeper = ssh2.utils.parseKey(keeperKey);
  if (keeper instanceof Error) throw keeper;
  for (let attempt = 0; ; attempt++) {
    const access = readAccess(home);
    const server = new DeviceServer(device, access, keeper, keyIn(home, 'host-key'));
    try {
      await server.listen();
      // A device that is not up answers nobody; it opens its port again when it has booted.
      if (!device.machine.reachable) await server.fallSilent();
      server.follow();
      return { server, port: access.port };
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'EADDRINUSE' || attempt >= 20) throw error;
      writeAccess(home, { ...access, port: somePort() });
    }
  }
}
