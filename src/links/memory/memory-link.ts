import type { Reading } from '#core/reading';
import { linkError } from '../errors.ts';
import { matchesAny } from '../handbook/index.ts';
import type {
  BootChoice,
  DeviceFacts,
  Link,
  NamedFile,
  Progress,
  ReleaseFile,
  RemoteFile,
} from '../port/index.ts';
import type { MemoryDevice } from './device.ts';
import type { LinkCall } from './faults.ts';

const FOLDER = '/incoming';

/** A link to a device in memory. */
export class MemoryLink implements Link {
  readonly facts: DeviceFacts;
  readonly #device: MemoryDevice;
  #closed = false;

  /** `restartFor`: globs of the files whose change needs a restart. `facts`: other than the usual ones. */
  constructor(
    device: MemoryDevice,
    restartFor: readonly string[] = ['*.conf'],
    facts: Partial<DeviceFacts> = {},
  ) {
    this.#device = device;
    this.facts = {
      kind: device.kind,
      applyNeedsRestart: (files) => files.some((file) => matchesAny(file, restartFor)),
      canCaptureSpare: device.kind.slots === 2,
      canArmReturn: true,
      canReport: true,
      limits: { commandSeconds: 1, transferSeconds: 5, installSeconds: 5, bootSeconds: 5 },
      ...facts,
    };
  }

  identify = () => this.#call('identify', (device) => device.identity());
  slots = () => this.#call('slots', (device) => device.observed());
  capture = (slot: BootChoice) => this.#call('capture', (device) => device.slot(slot).configuration);
  reading = () => this.#call('reading', readingOf);
  report = () =>
    this.#call('report', (device): readonly NamedFile[] => [
      { name: 'identity.txt', bytes: new TextEncoder().encode(`${JSON.stringify(device.identity())}\n`) },
    ]);

  remoteFile = (file: ReleaseFile) =>
    this.#call('remoteFile', (device): RemoteFile | null => {
      const path = `${FOLDER}/${file.name}`;
      const there = device.files.get(path)?.sha256 === file.sha256;
      return there ? { path, sha256: file.sha256, verified: true } : null;
    });

  transfer = (file: ReleaseFile, progress?: Progress) =>
    this.#call('transfer', (device) => {
      const taken = device.take(file, `${FOLDER}/${file.name}`);
      progress?.(file.size, file.size);
      return taken;
    });

  install = (file: RemoteFile) => this.#call('install', (device) => device.install(file));

  keep = () =>
    this.#call('keep', ({ runningSlot, spareSlot }) => {
      spareSlot.release = runningSlot.release;
      spareSlot.configuration = runningSlot.configuration;
    });

  recover = () =>
    this.#call('recover', ({ runningSlot, spareSlot }) => {
      runningSlot.release = spareSlot.release;
      runningSlot.configuration = spareSlot.configuration;
    });

  apply = (files: readonly NamedFile[]) => this.#call('apply', (device) => device.apply(files));

  boot = (slot: BootChoice) =>
    this.#call('boot', (device) => {
      device.next = device.slots.indexOf(device.slot(slot));
      device.bootNext();
    });

  restart = () => this.#call('restart', (device) => device.bootNext());

  shutdown = () =>
    this.#call('shutdown', (device) => {
      device.down = true;
    });

  armReturn = (seconds: number) => this.#call('armReturn', (device) => device.armReturn(seconds));

  disarmReturn = () =>
    this.#call('disarmReturn', (device) => {
      device.armed = null;
    });

  clean = () => this.#call('clean', (device) => device.files.clear());

  async close(): Promise<void> {
    this.#closed = true;
  }

  async #call<T>(call: LinkCall, work: (device: MemoryDevice) => T): Promise<T> {
    if (this.#closed) throw linkError('links/closed', 'The link was closed on the workbench.');
    const device = this.#device;
    device.answer();
    const losePower = () => device.powerCycle();
    device.faults.meet(call, 'before', losePower);
    const result = work(device);
    device.faults.meet(call, 'after', losePower);
    return result;
  }
}

const INTERFACES = ['outside', 'inside', 'dmz'];

function readingOf(device: MemoryDevice): Reading {
  const { interfaceDown } = device.behaviour;
  return {
    at: '2026-01-01T00:00:00Z',
    boot: device.identity().boot,
    uptimeSeconds: 60,
    interfaces: INTERFACES.map((name) => ({
      name,
      admin: 'up',
      oper: name === interfaceDown ? 'down' : 'up',
      counterBits: 64,
      inOctets: 1000n,
      outOctets: 1000n,
      inPackets: 10n,
      outPackets: 10n,
      inErrors: 0n,
      outErrors: 0n,
      inDiscards: 0n,
      outDiscards: 0n,
    })),
    memory: { totalBytes: 1024 ** 3, freeBytes: 512 * 1024 ** 2 },
    processorPercent: 5,
    loss: [{ target: 'inside-host', sent: 100, lost: device.lossPercent }],
    alarms: [],
    fields: {},
    notRead: [],
  };
}
