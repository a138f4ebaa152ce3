import { createHash } from 'node:crypto';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { createKey, openArchive, sealer } from '#archive';
import { TuckpointError } from '#core/errors';
import type { DeviceKind } from '#core/slots';
import type { LinkErrorCode } from '#links';
import { type LinkCall, MemoryDevice, MemoryLink, type MemoryRelease } from '#links/memory';
import { type Finished, type Goal, type RunEnvironment, type RunEvent, resumeRun, startRun } from '#runs';
import { openStore, type Store } from '#store';

/** What goes wrong at a step. */
export const FAULTS = {
  'killed before it acts': { kill: 'after started' },
  'killed after it took effect': { kill: 'before done' },
  'killed once journaled': { kill: 'after done' },
  'link breaks before the effect': { link: 'links/closed', when: 'before' },
  'link breaks after the effect': { link: 'links/closed', when: 'after' },
  'power loss before the effect': { link: 'power-loss', when: 'before' },
  'power loss after the effect': { link: 'power-loss', when: 'after' },
  'device refuses': { link: 'links/refused', when: 'before' },
} as const satisfies Record<string, Fault>;

export type FaultName = keyof typeof FAULTS;

export type Fault =
  | { readonly kill: 'after started' | 'before done' | 'after done' }
  | { readonly link: LinkErrorCode | 'power-loss'; readonly when: 'before' | 'after' };

/** The call of the link that a step acts by. */
const ACTS: Readonly<Record<string, LinkCall>> = {
  look: 'identify',
  capture: 'capture',
  reading: 'reading',
  keep: 'keep',
  transfer: 'transfer',
  'transfer-old': 'transfer',
  install: 'install',
  restart: 'restart',
  'look-after': 'identify',
  'capture-after': 'capture',
  'reading-after': 'reading',
  'back-boot': 'boot',
  'back-install': 'install',
  'back-apply': 'apply',
  'back-restart': 'restart',
  'back-look': 'identify',
  'back-capture': 'capture',
  'back-reading': 'reading',
  clean: 'clean',
};

export interface Scenario {
  readonly name: string;
  readonly kind: DeviceKind;
  /** What the new release does beside coming up. */
  readonly release: Partial<MemoryRelease>;
}

const OLD = '4.2.0';
const NEW = '4.3.0';
const configuration = [{ name: 'policy.txt', bytes: new TextEncoder().encode('permit harbour control\n') }];

export interface Outcome {
  readonly decision: string;
  readonly reason: string;
  readonly resumes: number;
  /** Did the fault happen? A step that gives the link no order has none to break. */
  readonly struck: boolean;
  /** Effects on the device, by call. */
  readonly effects: Readonly<Partial<Record<LinkCall, number>>>;
  readonly device: MemoryDevice;
  readonly steps: readonly string[];
}

/** One update on a device in memory, with a real store and archive, and one fault at one step; resumed until it ends. */
export async function trial(scenario: Scenario, at?: { step: string; fault: FaultName }): Promise<Outcome> {
  // Hundreds of trials sync thousands of files: memory is quicker than a disk where the system offers it.
  const base = existsSync('/dev/shm') ? '/dev/shm' : os.tmpdir();
  const folder = mkdtempSync(path.join(base, 'tuckpoint-trial-'));
  try {
    return await tryIn(folder, scenario, at);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function tryIn(
  folder: string,
  scenario: Scenario,
  at?: { step: string; fault: FaultName },
): Promise<Outcome> {
  const releases = { new: image(folder, NEW), old: image(folder, OLD) };
  const device = new MemoryDevice({
    kind: scenario.kind,
    release: OLD,
    configuration,
    ...(scenario.kind.slots === 2 ? { spare: { release: '4.1.9', configuration } } : {}),
    releases: {
      [releases.new.file.sha256]: { release: NEW, ...scenario.release },
      [releases.old.file.sha256]: { release: OLD },
    },
  });
  const effects: Partial<Record<LinkCall, number>> = {};
  const key = await createKey(path.join(folder, 'archive'), { keyFile: path.join(folder, 'key.txt') });
  const store = await openStore({ folder, sealer: sealer(key) });
  const archive = await openArchive({ folder: path.join(folder, 'archive'), key });
  const fault = at === undefined ? null : FAULTS[at.fault];
  let clock = Date.parse('2026-11-25T10:00:00Z');
  const environment: RunEnvironment = {
    store: fault !== null && 'kill' in fault ? killing(store, at?.step ?? '', fault.kill) : store,
    archive,
    connect: async () => counting(new MemoryLink(device), effects),
    deviceFacts: async () => new MemoryLink(device).facts,
    now: () => new Date(clock).toISOString(),
    nowMs: () => clock,
    sleep: async (ms) => {
      clock += ms;
    },
    newId: () => 'r1',
  };
  await store.devices.put(
    {
      name: 'gull-quay-fw1',
      site: 'Gull Quay',
      handbook: 'none',
      address: '192.0.2.10',
      port: 22,
      user: 'keeper',
      own: {},
      secrets: {},
    },
    environment.now(),
  );
  const steps: string[] = [];
  let struck = false;
  const tell = (event: RunEvent) => {
    if (event.kind !== 'step' || event.state !== 'started') return;
    steps.push(event.step);
    if (struck || event.step !== at?.step || fault === null || !('link' in fault)) return;
    struck = true;
    const call = ACTS[event.step];
    if (call === undefined) struck = false;
    else device.faults.add({ call, when: fault.when, what: fault.link });
  };
  const goal: Goal = {
    release: releases.new,
    ...(scenario.kind.slots === 1 ? { oldRelease: releases.old, acceptNoReserve: true } : {}),
  };
  let killed = false;
  let finished: Finished | null = null;
  let resumes = 0;
  try {
    finished = await startRun(environment, { device: 'gull-quay-fw1', procedure: 'update', goal }, tell);
  } catch (error) {
    if (!(error instanceof TuckpointError) || error.code !== 'store/killed') throw error;
    killed = true;
  }
  struck &&= device.faults.waiting === 0;
  while ((finished === null || finished.decision === 'stopped') && resumes < 3) {
    resumes++;
    // A person at the site: a device that is down is power-cycled.
    if (device.down) device.powerCycle();
    device.faults.clear();
    finished = await resumeRun({ ...environment, store }, 'r1', tell);
  }
  await archive.close();
  await store.close();
  return {
    decision: finished?.decision ?? 'never ended',
    reason: finished?.reason ?? '',
    resumes,
    struck: struck || killed,
    effects,
    device,
    steps: [...new Set(steps)],
  };
}

/** A store under which the process dies at one moment of one step, once. */
export function killing(
  store: Store,
  step: string,
  moment: 'after started' | 'before done' | 'after done',
): Store {
  let armed = true;
  const die = () => {
    armed = false;
    throw new TuckpointError('store/killed', 'The process was killed here.');
  };
  const journal = new Proxy(store.journal, {
    get(target, name, receiver) {
      const value: unknown = Reflect.get(target, name, target);
      if (name !== 'write')
        return typeof value === 'function' ? value.bind(target) : Reflect.get(target, name, receiver);
      return async (...args: Parameters<Store['journal']['write']>) => {
        const [, line] = args;
        const here = armed && line.step === step;
        if (here && moment === 'before done' && line.state === 'done') die();
        await target.write(...args);
        if (here && moment === 'after started' && line.state === 'started') die();
        if (here && moment === 'after done' && line.state === 'done') die();
      };
    },
  });
  return { ...store, journal };
}

/** Counts the acting calls that took effect. */
function counting(link: MemoryLink, effects: Partial<Record<LinkCall, number>>): MemoryLink {
  for (const call of ['keep', 'install', 'apply', 'recover'] as const) {
    const act = link[call] as (...args: unknown[]) => Promise<void>;
    (link as unknown as Record<string, unknown>)[call] = async (...args: unknown[]) => {
      await act(...args);
      effects[call] = (effects[call] ?? 0) + 1;
    };
  }
  return link;
}

function image(folder: string, release: string) {
  const name = `${release}.img`;
  const file = path.join(folder, name);
  writeFileSync(file, `firmware ${release}\n`);
  const size = `firmware ${release}\n`.length;
  const sha256 = createHash('sha256').update(`firmware ${release}\n`).digest('hex');
  return {
    sheet: { release, models: ['Groyne 40'], files: [{ name, size, sha256 }] },
    file: { path: file, name, size, sha256 },
  };
}
