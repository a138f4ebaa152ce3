import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import ssh2 from 'ssh2';
import { TuckpointError } from '#core/errors';
import { makeDevice } from './device/first-state.ts';
import { PracticeDevice } from './device/practice-device.ts';
import { type DeviceControl, deviceControl } from './device-control.ts';
import { DeviceDisk } from './disk/device-disk.ts';
import type { EstateDevice } from './estate/devices.ts';
import { estate } from './estate/estate.ts';
import { modelOf } from './estate/models.ts';
import { fingerprint, keyIn, readAccess, somePort, writeAccess } from './ssh/keys.ts';
import { DeviceServer } from './ssh/server.ts';

export interface PracticeOptions {
  /** Where the devices live on disk. Made when absent; taken up again when not. One process at a time. */
  readonly folder: string;
  /** How long a boot takes, in milliseconds; 1000 without it. */
  readonly bootMs?: number;
  /** How long the boot watchdog waits, in milliseconds; as long as a boot without it. */
  readonly watchdogMs?: number;
  /** Names of devices or sites; the whole estate without it. */
  readonly only?: readonly string[];
  /** The clock, in milliseconds since 1970. */
  readonly now?: () => number;
}

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

export interface Practice {
  readonly devices: readonly PracticeAccess[];
  /** The hand on a device: faults, power, what it holds. Throws `practice/unknown-device`. */
  device(name: string): DeviceControl;
  /** Closes all ports; the devices stay on disk as they are. */
  stop(): Promise<void>;
}

/**
 * Starts practice devices: each an SSH server of its own on 127.0.0.1, simulated behind it. Throws
 * `practice/unknown-device` for a name in `only` that the estate does not have.
 */
export async function startPractice(options: PracticeOptions): Promise<Practice> {
  const bootMs = options.bootMs ?? 1000;
  const machineOptions = { bootMs, watchdogMs: options.watchdogMs ?? bootMs, now: options.now ?? Date.now };
  const folder = resolve(options.folder);
  mkdirSync(folder, { recursive: true });
  const keys = join(folder, 'keys');
  const keeperKey = ssh2.utils.parseKey(keyIn(keys, 'keeper'));
  if (keeperKey instanceof Error) throw keeperKey;

  const running = new Map<
    string,
    { device: PracticeDevice; access: PracticeAccess; control: DeviceControl; server: DeviceServer }
  >();
  const answers = (name: string) => running.get(name)?.device.machine.reachable ?? true;
  try {
    for (const spec of chosen(options.only)) {
      const home = join(folder, spec.name);
      const disk = new DeviceDisk(home);
      if (!disk.made) makeDevice(spec, disk, machineOptions.now());
      const access = readAccess(home);
      const device = new PracticeDevice(spec, disk, machineOptions, access.upkeepWord, answers);
      const { server, port } = await openServer(home, device, keeperKey);
      const shown: PracticeAccess = {
        name: spec.name,
        site: spec.site,
        model: spec.model,
        address: '127.0.0.1',
        port,
        user: access.user,
        password: access.password,
        key: join(keys, 'keeper'),
        upkeepWord: access.upkeepWord,
        handbook: modelOf(spec.model).handbook,
        hostKey: fingerprint(keyIn(home, 'host-key')),
      };
      running.set(spec.name, { device, access: shown, server, control: deviceControl(device, server, home) });
      device.machine.start();
      device.operations.watchReturn();
    }
  } catch (error) {
    await stop();
    throw error;
  }

  async function stop(): Promise<void> {
    for (const { device } of running.values()) device.machine.stop();
    await Promise.all([...running.values()].map(({ server }) => server.fallSilent()));
  }
  return {
    devices: [...running.values()].map(({ access }) => access),
    device(name) {
      const found = running.get(name);
      if (found === undefined) throw unknown(name, [...running.keys()]);
      return found.control;
    },
    stop,
  };
}

/** Finds a free port the first time, keeps it afterwards, and follows the device's going up and down. */
async function openServer(home: string, device: PracticeDevice, keeperKey: ssh2.ParsedKey) {
  for (let attempt = 0; ; attempt++) {
    const access = readAccess(home);
    const server = new DeviceServer(device, access, keeperKey, keyIn(home, 'host-key'));
    try {
      await server.listen();
      // A device that is not up answers nobody; it opens its port again when it has booted.
      if (!device.machine.reachable) await server.fallSilent();
      let last: Promise<void> = Promise.resolve();
      device.machine.onReachable = (reachable) => {
        last = last.then(
          () => (reachable && device.machine.reachable ? server.listen() : server.fallSilent()),
          () => {},
        );
        if (!reachable) void server.fallSilent();
      };
      return { server, port: access.port };
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'EADDRINUSE' || attempt >= 20) throw error;
      writeAccess(home, { ...access, port: somePort() });
    }
  }
}

function chosen(only: readonly string[] | undefined): readonly EstateDevice[] {
  if (only === undefined) return estate.devices;
  for (const name of only) {
    const known = estate.devices.some((device) => device.name === name || device.site === name);
    if (!known)
      throw unknown(
        name,
        [...estate.sites, ...estate.devices].map((each) => each.name),
      );
  }
  return estate.devices.filter((device) => only.includes(device.name) || only.includes(device.site));
}

const unknown = (name: string, known: readonly string[]) =>
  new TuckpointError('practice/unknown-device', `No practice device is called ${name}.`, {
    place: { field: 'device' },
    advice: `There are ${known.join(', ')}.`,
  });
