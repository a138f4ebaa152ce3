import { createHash } from 'node:crypto';
import type { DeviceKind } from '#core/slots';
import { linkError } from '../errors.ts';
import type {
  BootChoice,
  Identity,
  NamedFile,
  ObservedSlots,
  ReleaseFile,
  RemoteFile,
} from '../port/index.ts';
import { FaultPlan } from './faults.ts';

/** What a firmware file does on the device. */
export interface MemoryRelease {
  readonly release: string;
  /** Model that it fits; null: any. */
  readonly model?: string;
  /** The device never reaches "well" with it. */
  readonly doesNotBoot?: boolean;
  /** An interface that stays down with it. */
  readonly interfaceDown?: string;
  /** Probes of 100 that get no answer with it. */
  readonly lossPercent?: number;
  /** What its first boot makes of the configuration. */
  readonly rewrites?: (files: readonly NamedFile[]) => readonly NamedFile[];
}

export interface MemoryDeviceOptions {
  readonly kind: DeviceKind;
  readonly model?: string;
  readonly serial?: string;
  readonly hostname?: string;
  readonly release: string;
  readonly configuration: readonly NamedFile[];
  /** What the spare slot holds at first; default: the same as the running one. */
  readonly spare?: { readonly release: string; readonly configuration: readonly NamedFile[] };
  /** What is known of firmware files, by their SHA-256. A file not in it is refused: its signature does not verify. */
  readonly releases?: Readonly<Record<string, MemoryRelease>>;
  /** Calls that find nobody while the device boots; default 0. */
  readonly bootCalls?: number;
  /** The boot loader boots the other slot by itself when a boot does not end well. Default: only after a power cycle. */
  readonly watchdog?: boolean;
  readonly freeBytes?: number;
  /** Milliseconds of the device's clock, by which an armed return comes due. Default: it never does. */
  readonly clock?: () => number;
  /** What the device makes of a configuration it is given; throws to refuse it. Default: those very files. */
  readonly takes?: (files: readonly NamedFile[]) => readonly NamedFile[];
  /** Does the device let nobody in while it runs this configuration? */
  readonly locksOut?: (files: readonly NamedFile[]) => boolean;
  /** Probes of 100 that get no answer while it runs this configuration. */
  readonly losesWith?: (files: readonly NamedFile[]) => number;
}

export interface MemorySlot {
  readonly id: string;
  release: string;
  configuration: readonly NamedFile[];
}

const COMES_UP: MemoryRelease = { release: '' };

/** A device that exists in memory only: slots, boots, faults. It outlives the links to it. */
export class MemoryDevice {
  readonly kind: DeviceKind;
  readonly model: string;
  readonly serial: string;
  readonly hostname: string;
  readonly slots: MemorySlot[];
  readonly faults = new FaultPlan();
  /** Files transferred, by path, with their digests. */
  readonly files = new Map<string, { readonly sha256: string; readonly size: number }>();
  running = 0;
  next = 0;
  boots = 1;
  /** The release the device runs: what the running slot held at its boot. */
  runningRelease: string;
  /** Answers nobody until a power cycle. */
  down = false;
  /** The configuration that comes back unless disarmed, and when; it outlives a boot. */
  armed: { readonly configuration: readonly NamedFile[]; readonly at: number } | null = null;
  readonly #options: MemoryDeviceOptions;
  #callsUntilUp = 0;

  constructor(options: MemoryDeviceOptions) {
    this.#options = options;
    this.kind = options.kind;
    this.model = options.model ?? 'Groyne 40';
    this.serial = options.serial ?? 'GR40-0001';
    this.hostname = options.hostname ?? 'gull-quay-fw1';
    this.runningRelease = options.release;
    const first = { id: '1', release: options.release, configuration: options.configuration };
    const other = {
      id: '2',
      ...(options.spare ?? { release: options.release, configuration: options.configuration }),
    };
    this.slots = options.kind.slots === 2 ? [first, other] : [first];
  }

  get runningSlot(): MemorySlot {
    return this.slots[this.running]!;
  }

  /** Throws `links/not-in-handbook` on a device of one slot. */
  get spareSlot(): MemorySlot {
    const spare = this.slots[1 - this.running];
    if (spare === undefined) throw linkError('links/not-in-handbook', `${this.hostname} has no spare slot.`);
    return spare;
  }

  slot(choice: BootChoice): MemorySlot {
    return choice === 'running' ? this.runningSlot : this.spareSlot;
  }

  /** Counts one call of the workbench; throws `links/unreachable` while the device is down or boots. */
  answer(): void {
    if (this.armed !== null && !this.down && this.#now() >= this.armed.at) this.returnNow();
    const lockedOut = this.#options.locksOut?.(this.runningSlot.configuration) === true;
    if (!this.down && !lockedOut && this.#callsUntilUp === 0) return;
    if (!this.down && this.#callsUntilUp > 0) this.#callsUntilUp -= 1;
    throw linkError('links/unreachable', `${this.hostname} cannot be reached: nothing answers.`);
  }

  identity(): Identity {
    const { model, serial, hostname } = this;
    return {
      model,
      serial,
      hostname,
      release: this.runningRelease,
      boot: `boot-${this.boots}`,
      uptimeSeconds: 60,
    };
  }

  observed(): ObservedSlots {
    return {
      slots: this.slots.map(({ id, release, configuration }) => ({
        id,
        release,
        configuration: digestOf(configuration),
      })),
      running: this.runningSlot.id,
      next: this.slots[this.next]!.id,
    };
  }

  /** Behaviour of the release that runs. */
  get behaviour(): MemoryRelease {
    return this.#known(this.runningRelease);
  }

  /** Throws `links/no-space`. */
  take(file: ReleaseFile, path: string): RemoteFile {
    const free = this.#options.freeBytes ?? Number.POSITIVE_INFINITY;
    if (file.size > free)
      throw linkError(
        'links/no-space',
        `${this.hostname} has no space for ${file.name}: ${free} bytes are free.`,
      );
    this.files.set(path, { sha256: file.sha256, size: file.size });
    return { path, sha256: file.sha256, verified: true };
  }

  /** Throws `links/refused` with the device's words. */
  install(file: RemoteFile): void {
    const image = this.#options.releases?.[this.files.get(file.path)?.sha256 ?? ''];
    const refuse = (words: string) =>
      linkError('links/refused', `${this.hostname} refused "install ${file.path}": ${words}.`);
    if (!this.files.has(file.path)) throw refuse('no such file');
    if (image === undefined) throw refuse('signature does not verify');
    if (image.model !== undefined && image.model !== this.model) throw refuse(`is for model ${image.model}`);
    const target = this.slot(this.kind.installWrites);
    target.release = image.release;
    if (this.kind.installWrites === 'spare') {
      if (this.kind.spareConfiguration === 'carried') target.configuration = this.runningSlot.configuration;
      this.next = 1 - this.running;
    }
  }

  /** Boots the slot that is due. A release that does not boot leaves the device down, or the watchdog boots the other slot. */
  bootNext(): void {
    this.running = this.next;
    this.boots += 1;
    const booted = this.runningSlot;
    const behaviour = this.#known(booted.release);
    if (behaviour.doesNotBoot === true) {
      if (this.#options.watchdog === true && this.slots.length === 2) this.#bootOther();
      else this.down = true;
      return;
    }
    this.down = false;
    if (behaviour.rewrites !== undefined && this.runningRelease !== booted.release)
      booted.configuration = behaviour.rewrites(booted.configuration);
    this.runningRelease = booted.release;
    this.#callsUntilUp = this.#options.bootCalls ?? 0;
  }

  /** Power off and on. After a boot that did not end well the loader boots the other slot. */
  powerCycle(): void {
    if (this.down && this.#known(this.runningSlot.release).doesNotBoot === true && this.slots.length === 2)
      this.#bootOther();
    else this.bootNext();
  }

  /** Replaces the running configuration, as the device takes it. */
  apply(files: readonly NamedFile[]): void {
    this.runningSlot.configuration = this.#options.takes?.(files) ?? files;
  }

  armReturn(seconds: number): void {
    this.armed = { configuration: this.runningSlot.configuration, at: this.#now() + seconds * 1000 };
  }

  /** The time of an armed return is up. */
  returnNow(): void {
    if (this.armed !== null) this.runningSlot.configuration = this.armed.configuration;
    this.armed = null;
  }

  get lossPercent(): number {
    const loses = this.#options.losesWith?.(this.runningSlot.configuration) ?? 0;
    return Math.max(loses, this.behaviour.lossPercent ?? 0);
  }

  /** Without a clock no time passes. */
  #now(): number {
    return this.#options.clock?.() ?? 0;
  }

  #bootOther(): void {
    this.next = 1 - this.running;
    // Two slots that both do not boot: the device stays down, as a real one would.
    const hopeless = this.#known(this.slots[this.next]!.release).doesNotBoot === true;
    if (hopeless) this.down = true;
    else this.bootNext();
  }

  #known(release: string): MemoryRelease {
    return Object.values(this.#options.releases ?? {}).find((image) => image.release === release) ?? COMES_UP;
  }
}

/** The digest that the device reports of a configuration: SHA-256 over names, lengths and bytes. */
function digestOf(files: readonly NamedFile[]): string {
  const hash = createHash('sha256');
  for (const { name, bytes } of [...files].sort((a, b) => (a.name < b.name ? -1 : 1)))
    hash.update(`${name}\0${bytes.length}\0`).update(bytes);
  return hash.digest('hex');
}
