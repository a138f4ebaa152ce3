import { readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { SYSTEM } from '../configuration/files.ts';
import { configurationDigest, type Files, sha256 } from '../disk/content.ts';
import type { DeviceDisk } from '../disk/device-disk.ts';
import { readFiles } from '../disk/device-disk.ts';
import type { EstateDevice } from '../estate/devices.ts';
import { Machine, type MachineOptions } from './machine.ts';
import { fileSize, Operations } from './operations.ts';
import {
  type HealthFigures,
  healthFigures,
  type InterfaceFigures,
  interfaceDown,
  interfaceFigures,
} from './readings.ts';
import { Refusal } from './refusal.ts';

/** A slot as the device shows it. */
export interface ShownSlot {
  readonly id: string;
  readonly release: string;
  /** SHA-256 in lower-case hex, over all files. */
  readonly configuration: string;
  readonly running: boolean;
  readonly next: boolean;
}

/** One simulated device: its machine, its operations and what it shows. */
export class PracticeDevice {
  readonly machine: Machine;
  readonly operations: Operations;

  constructor(
    readonly spec: EstateDevice,
    readonly disk: DeviceDisk,
    options: MachineOptions,
    readonly upkeepWord: string,
    private readonly answers: (peer: string) => boolean,
  ) {
    this.machine = new Machine(spec, disk, options);
    this.operations = new Operations(this.machine);
  }

  get uptimeMs(): number {
    return Math.max(0, this.machine.options.now() - this.machine.state.bootedAt);
  }

  slots(): ShownSlot[] {
    const { slots, running, next } = this.machine.state;
    return slots.map(({ id, content }) => ({
      id,
      release: this.disk.manifest(content).release,
      configuration: configurationDigest(this.disk.configuration(content)),
      running: id === running,
      next: id === next,
    }));
  }

  configuration(slot: string): Files {
    return this.disk.configuration(this.machine.slot(slot).content);
  }

  interfaces(): InterfaceFigures[] {
    return interfaceFigures(this.spec, this.moment());
  }

  health(): HealthFigures {
    return healthFigures(this.spec, this.moment());
  }

  alarms(): string[] {
    const { state, faults } = this.machine;
    const system = sha256(this.configuration(state.running).get(SYSTEM) ?? '');
    const down = interfaceDown(this.spec, faults);
    return [
      ...(down === null ? [] : [`interface ${down} has no link`]),
      ...(system === state.booted.systemDigest
        ? []
        : [`${SYSTEM} differs from what was read at boot: a restart is due`]),
      ...(this.spec.peer === undefined || this.answers(this.spec.peer)
        ? []
        : [`${this.spec.peer} does not answer`]),
      ...(state.returning === null ? [] : ['a return to the former configuration is armed']),
    ];
  }

  /** Which half of a pair leads now, as this device sees it; null for a device on its own. */
  get role(): 'leads' | 'follows' | null {
    if (this.spec.peer === undefined) return null;
    return this.spec.leads === true || !this.answers(this.spec.peer) ? 'leads' : 'follows';
  }

  /** Files brought onto the device, by their path in /incoming. */
  incoming(): Files {
    return readFiles(this.disk.incoming);
  }

  /** The place on disk of `/incoming/NAME` or `NAME`. Throws a Refusal for a path that leads elsewhere. */
  incomingPath(name: string): string {
    const parts = name
      .replace(/^\/incoming(\/|$)/, '')
      .split('/')
      .filter((part) => part !== '');
    if (name.startsWith('/') && !/^\/incoming(\/|$)/.test(name))
      throw new Refusal(`${name} is not in /incoming`);
    if (parts.some((part) => part === '..' || part === '.' || /[\\:\0]/.test(part))) {
      throw new Refusal(`${name} is no name of a file here`);
    }
    return join(this.disk.incoming, ...parts);
  }

  readIncoming(name: string): Uint8Array {
    const path = this.incomingPath(name);
    if (fileSize(path) === null) throw new Refusal(`there is no file ${name}`);
    return readFileSync(path);
  }

  remove(name: string): void {
    const path = this.incomingPath(name);
    if (path === this.disk.incoming) for (const file of this.incoming().keys()) rmSync(join(path, file));
    else rmSync(path, { recursive: true, force: true });
  }

  private moment() {
    const { options, state, faults } = this.machine;
    return {
      now: options.now(),
      bootedAt: state.bootedAt,
      boot: state.boot,
      faults,
      setDown: state.booted.setDown,
    };
  }
}
