import { mkdirSync } from 'node:fs';
import { resolve } from 'node:path';
import { TuckpointError } from '#core/errors';
import type { DeviceControl } from './device-control.ts';
import type { EstateDevice } from './estate/devices.ts';
import { estate } from './estate/estate.ts';
import { holdFolder } from './folder-lock.ts';
import { type PracticeAccess, type StartedDevice, startDevice } from './start-device.ts';

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

export interface Practice {
  readonly devices: readonly PracticeAccess[];
  /** The hand on a device: faults, power, what it holds. Throws `practice/unknown-device`. */
  device(name: string): DeviceControl;
  /** Closes all ports; the devices stay on disk as they are. */
  stop(): Promise<void>;
}

/**
 * Starts practice devices: each an SSH server of its own on 127.0.0.1, simulated behind it. Throws
 * `practice/unknown-device` for a name in `only` that the estate does not have, `practice/busy` for a folder that
 * another process runs.
 */
export async function startPractice(options: PracticeOptions): Promise<Practice> {
  const bootMs = options.bootMs ?? 1000;
  const machineOptions = { bootMs, watchdogMs: options.watchdogMs ?? bootMs, now: options.now ?? Date.now };
  const specs = chosen(options.only);
  const folder = resolve(options.folder);
  mkdirSync(folder, { recursive: true });
  const letGo = await holdFolder(folder);
  const running = new Map<string, StartedDevice>();
  const stop = async () => {
    for (const { device } of running.values()) device.machine.stop();
    await Promise.all([...running.values()].map(({ server }) => server.close()));
    await letGo();
  };
  try {
    const surroundings = {
      folder,
      machine: machineOptions,
      answers: (name: string) => running.get(name)?.device.machine.reachable ?? true,
    };
    for (const spec of specs) running.set(spec.name, await startDevice(spec, surroundings));
  } catch (error) {
    await stop();
    throw error;
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
