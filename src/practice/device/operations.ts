import { readFileSync, statSync } from 'node:fs';
import { acceptConfiguration } from '../configuration/accept.ts';
import { SYSTEM } from '../configuration/files.ts';
import { type Content, configurationDigest, sha256 } from '../disk/content.ts';
import { readFiles } from '../disk/device-disk.ts';
import type { DeviceState } from '../disk/state.ts';
import { modelOf } from '../estate/models.ts';
import { openImage } from '../image/open.ts';
import type { Machine } from './machine.ts';
import { PowerLost, Refusal } from './refusal.ts';

/** What can be cut by a loss of power, and when: before it wrote, before it took effect, before it answered. */
export type Operation = 'install' | 'keep' | 'recover' | 'load';
export type Instant = 'before' | 'half' | 'after';

/**
 * What changes a device's slots. Each operation prepares its new content beside the old, then takes effect in one
 * write of the state. One at a time; a Refusal changes nothing.
 */
export class Operations {
  private busy: Operation | null = null;
  private cut: { readonly during: Operation; readonly at: Instant } | null = null;
  private returnTimer: NodeJS.Timeout | undefined;

  constructor(private readonly machine: Machine) {}

  /** The power goes the next time this operation reaches that instant. */
  losePowerDuring(during: Operation, at: Instant): void {
    this.cut = { during, at };
  }

  /** Replaces the release of the slot this model installs into, and lets it boot next. The configuration there stays. */
  async install(file: string): Promise<string> {
    const { machine } = this;
    const slot = this.installSlot;
    await this.act('install', async () => {
      const bytes = readFileSync(file);
      const { manifest, members } = await openImage(bytes, {
        model: machine.device.model,
        release: machine.state.booted.release,
      });
      if (this.freeBytes < bytes.length) throw new Refusal('no space left');
      return () => {
        const { configuration, settledFor } = machine.disk.readContent(machine.slot(slot).content);
        return { ...this.put(slot, { manifest, members, configuration, settledFor }), next: slot };
      };
    });
    machine.log.say(`release installed into slot ${slot}`);
    return slot;
  }

  get installSlot(): string {
    const { state, device } = this.machine;
    const spare = this.machine.other(state.running);
    return modelOf(device.model).installWrites === 'spare' && spare !== undefined ? spare.id : state.running;
  }

  /** Copies the running slot to the spare, whole. */
  async keep(): Promise<void> {
    await this.copy('keep', this.machine.state.running, this.spare);
  }

  /** Copies the spare slot to the running one, whole. The device runs it after its next boot. */
  async recover(): Promise<void> {
    await this.copy('recover', this.spare, this.machine.state.running);
  }

  /** Id of the spare slot. Throws a Refusal on a device with one slot. */
  get spare(): string {
    const spare = this.machine.other(this.machine.state.running);
    if (spare === undefined) throw new Refusal('this model has one slot');
    return spare.id;
  }

  /** Replaces the running configuration by the files of a folder. */
  async load(folder: string): Promise<void> {
    const { machine } = this;
    const { running } = machine.state;
    await this.act('load', async () => {
      const configuration = readFiles(folder);
      acceptConfiguration(configuration);
      return () =>
        this.put(running, { ...machine.disk.readContent(machine.slot(running).content), configuration });
    });
    machine.log.say(`configuration loaded into slot ${running}`);
  }

  /** After so many seconds the running slot gets its present configuration again, unless cancelled. */
  armReturn(seconds: number): void {
    const { machine } = this;
    const { running } = machine.state;
    const at = machine.options.now() + seconds * 1000;
    machine.commit({ returning: { at, slot: running, content: machine.slot(running).content } });
    this.watchReturn();
  }

  cancelReturn(): void {
    if (this.machine.state.returning === null) throw new Refusal('no return is armed');
    this.machine.cancel(this.returnTimer);
    this.machine.commit({ returning: null });
  }

  /** Takes up an armed return, also one from before this process. */
  watchReturn(): void {
    const { machine } = this;
    const { returning } = machine.state;
    machine.cancel(this.returnTimer);
    if (returning === null) return;
    const wait = Math.max(0, returning.at - machine.options.now());
    this.returnTimer = machine.later(Math.min(wait, 2 ** 31 - 1), () => this.return());
  }

  /** Bytes left for files brought onto the device. */
  get freeBytes(): number {
    const { machine } = this;
    if (machine.faults.some((fault) => fault.kind === 'disk-full')) return 0;
    return Math.max(0, modelOf(machine.device.model).diskBytes - machine.disk.incomingBytes());
  }

  private return(): void {
    const { machine } = this;
    const { returning, running, booted } = machine.state;
    if (returning === null) return;
    const { configuration } = machine.disk.readContent(returning.content);
    const content = machine.disk.readContent(machine.slot(returning.slot).content);
    const change =
      configurationDigest(configuration) === configurationDigest(content.configuration)
        ? {}
        : this.put(returning.slot, { ...content, configuration });
    machine.commit({ ...change, returning: null });
    machine.log.say(`nobody cancelled the return: slot ${returning.slot} has its former configuration again`);
    const system = sha256(configuration.get(SYSTEM) ?? '');
    if (machine.state.phase === 'up' && running === returning.slot && system !== booted.systemDigest) {
      machine.restart(running);
    }
  }

  private async copy(operation: Operation, from: string, to: string): Promise<void> {
    const { machine } = this;
    await this.act(operation, async () => {
      return () => {
        const { content } = machine.slot(from);
        return { slots: machine.state.slots.map((slot) => (slot.id === to ? { id: to, content } : slot)) };
      };
    });
    machine.log.say(`slot ${from} copied over slot ${to}`);
  }

  private put(slot: string, content: Content): Pick<DeviceState, 'slots'> {
    const name = this.machine.disk.addContent(content);
    return { slots: this.machine.state.slots.map((s) => (s.id === slot ? { id: slot, content: name } : s)) };
  }

  private async act(operation: Operation, prepare: () => Promise<() => Partial<DeviceState>>): Promise<void> {
    const { machine } = this;
    if (this.busy !== null) throw new Refusal(`the device is busy: ${this.busy}`);
    this.busy = operation;
    const { power } = machine;
    try {
      this.instant(operation, 'before');
      const write = await prepare();
      await new Promise((done) => setTimeout(done, machine.options.bootMs / 10));
      machine.still(power);
      // From here on without a pause: nothing else may sweep the new content before the state names it.
      const change = write();
      this.instant(operation, 'half');
      machine.commit(change);
      this.instant(operation, 'after');
    } finally {
      this.busy = null;
    }
  }

  private instant(operation: Operation, at: Instant): void {
    if (this.cut?.during !== operation || this.cut.at !== at) return;
    this.cut = null;
    this.machine.log.say('power went');
    this.machine.powerCycle();
    throw new PowerLost();
  }
}

/** Size in bytes of a file, or null when there is none. */
export function fileSize(path: string): number | null {
  const found = statSync(path, { throwIfNoEntry: false });
  return found?.isFile() === true ? found.size : null;
}
