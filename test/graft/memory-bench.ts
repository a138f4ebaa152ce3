import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { type Archive, configurationDigest, createKey, openArchive, sealer } from '#archive';
import { MemoryDevice, type MemoryDeviceOptions, MemoryLink } from '#links/memory';
import type { DeviceFacts, NamedFile } from '#links/port';
import type { PlannedTarget, RunEnvironment } from '#runs';
import { openStore, type Store } from '#store';

const bytes = (text: string) => new TextEncoder().encode(text);
export const textOf = (file: NamedFile | undefined) => Buffer.from(file?.bytes ?? []).toString();

/** A ruleset that lets the workbench in, with these lines in its forward chain. */
export function rules(...forward: string[]): string {
  return `table inet filter {
\tchain input {
\t\ttype filter hook input priority filter; policy drop;
\t\tct state established accept
\t\ttcp dport 22 accept
\t}

\tchain forward {
\t\ttype filter hook forward priority filter; policy drop;
\t\tct state established accept
${forward.map((line) => `\t\t${line}\n`).join('')}\t}
}
`;
}

/** A configuration: its rules, a file nobody reads, and one whose change needs a restart. */
export function configuration(ruleset: string, system = 'domain brackwater.example\n'): NamedFile[] {
  return [
    { name: 'banner.txt', bytes: bytes('Brackwater Line\n') },
    { name: 'rules.nft', bytes: bytes(ruleset) },
    { name: 'system.conf', bytes: bytes(system) },
  ];
}

export const OLD = rules('tcp dport 443 accept');
export const NEW = rules('tcp dport 443 accept', 'ip saddr 10.4.0.0/16 udp dport 53 accept');

export interface BenchDevice extends Partial<MemoryDeviceOptions> {
  readonly name?: string;
  readonly facts?: Partial<DeviceFacts>;
}

/** A real store and archive, devices in memory, and a clock that only moves when somebody sleeps. */
export class MemoryBench {
  readonly folder: string;
  readonly devices = new Map<string, MemoryDevice>();
  readonly #facts = new Map<string, Partial<DeviceFacts>>();
  store!: Store;
  archive!: Archive;
  clock = Date.parse('2026-11-25T10:00:00Z');
  #runs = 0;

  private constructor() {
    // Hundreds of trials sync thousands of files: memory is quicker than a disk where the system offers it.
    this.folder = mkdtempSync(
      path.join(existsSync('/dev/shm') ? '/dev/shm' : os.tmpdir(), 'tuckpoint-graft-'),
    );
  }

  static async open(...devices: BenchDevice[]): Promise<MemoryBench> {
    const bench = new MemoryBench();
    const { folder } = bench;
    const key = await createKey(path.join(folder, 'archive'), { keyFile: path.join(folder, 'key.txt') });
    bench.store = await openStore({ folder, sealer: sealer(key) });
    bench.archive = await openArchive({ folder: path.join(folder, 'archive'), key });
    for (const device of devices) await bench.add(device);
    return bench;
  }

  async add({ name = 'gull-quay-fw1', facts = {}, ...options }: BenchDevice): Promise<void> {
    const device = new MemoryDevice({
      kind: { slots: 2, installWrites: 'running' },
      release: '4.2.0',
      configuration: configuration(OLD),
      hostname: name,
      // Nothing is known of it: a run that writes the running slot makes the spare hold the way back first.
      spare: { release: '4.1.9', configuration: configuration(rules()) },
      clock: () => this.clock,
      ...options,
    });
    this.devices.set(name, device);
    this.#facts.set(name, facts);
    await this.store.devices.put(
      // The workbench's own address, so that the way in is known on every machine.
      {
        name,
        site: 'Gull Quay',
        handbook: 'none',
        address: '127.0.0.1',
        port: 22,
        user: 'keeper',
        own: {},
        secrets: {},
      },
      this.environment.now(),
    );
  }

  device(name = 'gull-quay-fw1'): MemoryDevice {
    return this.devices.get(name)!;
  }

  link(name: string): MemoryLink {
    return new MemoryLink(this.device(name), ['*.conf'], this.#facts.get(name));
  }

  get environment(): RunEnvironment {
    return {
      store: this.store,
      archive: this.archive,
      connect: async ({ name }) => this.link(name),
      deviceFacts: async ({ name }) => this.link(name).facts,
      now: () => new Date(this.clock).toISOString(),
      nowMs: () => this.clock,
      sleep: async (ms) => {
        this.clock += ms;
      },
      newId: () => `r${++this.#runs}`,
    };
  }

  /** A graft that was planned on what the device holds now. */
  planned(after: readonly NamedFile[], name = 'gull-quay-fw1'): PlannedTarget {
    const before = this.device(name).runningSlot.configuration;
    return { device: name, plannedOn: configurationDigest(before), before, after, problems: [] };
  }

  rulesOn(name = 'gull-quay-fw1'): string {
    const files = this.device(name).runningSlot.configuration;
    return textOf(files.find((file) => file.name === 'rules.nft'));
  }

  async close(): Promise<void> {
    await this.archive.close();
    await this.store.close();
    rmSync(this.folder, { recursive: true, force: true });
  }
}
