import { randomBytes } from 'node:crypto';
import { chmodSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { attempt, command } from './command.ts';
import { type Access, earlierConfiguration, factoryConfiguration } from './configuration/files.ts';
import { makeDisk } from './disk.ts';
import { labError } from './errors.ts';
import { Gateway } from './gateway.ts';
import { type Image, writeImage } from './images/image.ts';
import { makerPublicPem } from './images/maker-key.ts';
import { buildRelease, type ReleaseOptions } from './images/release.ts';
import { LEGS, MOST_GATEWAYS, planGateway } from './plan.ts';
import { powerOff, writeBoard } from './power.ts';
import { reachOf } from './reach.ts';
import { requireLab } from './requirements.ts';
import { DEFAULT_DIR, hasState, type LabState, readState, writeState } from './state.ts';

export interface LabOptions {
  /** Gateways to start, 1 to 31. */
  readonly count?: number;
  /** Folder the lab lives in; one lab per folder. */
  readonly dir?: string;
  /** Boot loader gives up on a boot after so many seconds and boots the other slot; 0 (the default) is never. */
  readonly watchdogSeconds?: number;
  readonly diskMebibytes?: number;
}

/** Releases that the slots hold at first. */
export const FACTORY_RUNNING = '4.2.0';
export const FACTORY_SPARE = '4.1.3';

const MEMORY_KIB = 512 * 1024;
const DISK_MEBIBYTES = 16;

/** A running lab. */
export class Lab {
  readonly dir: string;
  readonly gateways: readonly Gateway[];
  constructor(dir: string, gateways: readonly Gateway[]) {
    this.dir = dir;
    this.gateways = gateways;
  }

  /** Makes a firmware file (and its sheet beside it) in the lab's folder, or at `path`. */
  makeImage(options: ReleaseOptions, path?: string): Promise<Image> {
    const fault = options.fault === undefined ? '' : `-${options.fault.kind}`;
    return writeImage(
      path ?? join(this.dir, 'images', `groyne-40-${options.version}${fault}.image`),
      options,
    );
  }

  /** Ends the lab and removes all it made. */
  stop(): Promise<void> {
    return stopLab(this.dir);
  }
}

function openGateways(dir: string, state: LabState): Gateway[] {
  return Array.from({ length: state.count }, (_, index) => {
    const plan = planGateway(state.lab, index + 1);
    const folder = join(dir, `${plan.number}`);
    return new Gateway(folder, plan, reachOf(dir, folder, plan, state));
  });
}

/** The lab that lives in `dir`, started earlier, perhaps by another process. Throws `lab/no-lab`. */
export function openLab(dir = DEFAULT_DIR): Lab {
  const at = resolve(dir);
  return new Lab(at, openGateways(at, readState(at)));
}

/** Takes the first free number on this machine; the kernel lets only one lab hold it (a namespace of that name). */
async function claimNumber(): Promise<number> {
  const addresses = await command('ip', ['-4', '-o', 'addr', 'show']);
  for (let lab = 0; lab <= 255; lab += 1) {
    if (addresses.includes(` 10.213.${lab}.`)) continue;
    const { status } = await attempt('ip', ['netns', 'add', `lab${lab}`]);
    if (status === 0) return lab;
  }
  throw labError('lab/busy', 'All 256 lab numbers of this machine are taken.', {
    advice: 'End labs: npm run lab -- down.',
  });
}

async function makeKeys(dir: string, user: string): Promise<string> {
  mkdirSync(join(dir, 'keys'), { recursive: true, mode: 0o700 });
  const key = join(dir, 'keys', user);
  await command('ssh-keygen', ['-q', '-t', 'ed25519', '-N', '', '-C', 'workbench', '-f', key]);
  return readFileSync(`${key}.pub`, 'utf8').trim();
}

/** One file per secret, named as handbooks and SNMP name it, for `tuckpoint device add --secret NAME=FILE`. */
function writeSecrets(dir: string, access: Access): void {
  const secrets = {
    upkeep: access.upkeepWord,
    snmpUser: access.snmpUser,
    snmpAuthPassword: access.authPassword,
    snmpPrivacyPassword: access.privacyPassword,
    snmpCommunity: access.community,
  };
  for (const [name, secret] of Object.entries(secrets))
    writeFileSync(join(dir, 'keys', name), `${secret}\n`, { mode: 0o600 });
}

async function makeGateway(dir: string, state: LabState, number: number, disk: number): Promise<void> {
  const plan = planGateway(state.lab, number);
  const folder = join(dir, `${number}`);
  mkdirSync(folder);
  for (const leg of LEGS) {
    await command('ip', ['netns', 'add', plan.legs[leg].netns]);
    await command('ip', ['-n', plan.legs[leg].netns, 'link', 'set', 'lo', 'up']);
  }
  const configuration = factoryConfiguration(plan, state.access);
  const box = {
    model: 'Groyne 40',
    serial: plan.serial,
    engine: plan.engine,
    memoryKib: MEMORY_KIB,
    makerKey: makerPublicPem,
  };
  await makeDisk(join(folder, 'disk'), disk, box, [
    { release: buildRelease({ version: FACTORY_RUNNING }), configuration },
    { release: buildRelease({ version: FACTORY_SPARE }), configuration: earlierConfiguration(configuration) },
  ]);
  writeBoard(folder, plan, state.watchdogSeconds);
}

/**
 * Starts a lab and returns when every gateway has booted well. Throws `lab/not-here` where it cannot run,
 * `lab/busy` when a lab lives in the folder already, `lab/input` for a count out of range; what was made until
 * then is removed.
 */
export async function startLab(options: LabOptions = {}): Promise<Lab> {
  requireLab();
  const { count = 1, watchdogSeconds = 0, diskMebibytes = DISK_MEBIBYTES } = options;
  const dir = resolve(options.dir ?? DEFAULT_DIR);
  if (!Number.isInteger(count) || count < 1 || count > MOST_GATEWAYS)
    throw labError('lab/input', `A lab has 1 to ${MOST_GATEWAYS} gateways, not ${count}.`);
  if (hasState(dir))
    throw labError('lab/busy', `A lab lives in ${dir} already.`, {
      advice: 'End it with "npm run lab -- down", or start another with --dir FOLDER.',
    });
  mkdirSync(dir, { recursive: true });
  if (readdirSync(dir).some((name) => name !== 'images'))
    throw labError('lab/busy', `The folder ${dir} holds other things.`, {
      advice: 'Give an empty folder with --dir.',
    });
  chmodSync(dir, 0o700);
  const lab = await claimNumber();
  const word = () => randomBytes(9).toString('hex');
  const words: Access = {
    user: 'keeper',
    shellUser: 'desk',
    publicKey: '',
    upkeepWord: word(),
    community: `harbour-${word()}`,
    snmpUser: 'watch',
    authPassword: word(),
    privacyPassword: word(),
  };
  // Before anything else is made: a `down` after a kill must find it.
  writeState(dir, { lab, count, watchdogSeconds, access: words });
  try {
    const access = { ...words, publicKey: await makeKeys(dir, words.user) };
    const state: LabState = { lab, count, watchdogSeconds, access };
    writeState(dir, state);
    writeSecrets(dir, access);
    for (let number = 1; number <= count; number += 1) await makeGateway(dir, state, number, diskMebibytes);
    const gateways = openGateways(dir, state);
    await Promise.all(gateways.map((gateway) => gateway.powerOn()));
    await Promise.all(gateways.map((gateway) => gateway.untilWell(1, 30_000)));
    return new Lab(dir, gateways);
  } catch (error) {
    await stopLab(dir);
    throw error;
  }
}

/**
 * Ends the lab in `dir`: its processes, namespaces, legs, disks and files, and nothing else. Images made into the
 * folder stay. Safe to repeat, also after a kill in the middle of a start.
 */
export async function stopLab(dir = DEFAULT_DIR): Promise<void> {
  const at = resolve(dir);
  const { lab, count } = readState(at);
  for (let number = 1; number <= count; number += 1) {
    const plan = planGateway(lab, number);
    const folder = join(at, `${number}`);
    await powerOff(folder, plan);
    for (const leg of LEGS) await removeHost(plan.legs[leg].netns);
    await attempt('umount', ['-l', join(folder, 'disk')]);
    rmSync(folder, { recursive: true, force: true });
  }
  await attempt('ip', ['netns', 'del', `lab${lab}`]);
  rmSync(join(at, 'keys'), { recursive: true, force: true });
  rmSync(join(at, 'state.json'), { force: true });
  if (readdirSync(at).length === 0) rmSync(at, { recursive: true });
}

/** A host's namespace goes with whatever a test left running in it. */
async function removeHost(netns: string): Promise<void> {
  const { status, stdout } = await attempt('ip', ['netns', 'pids', netns]);
  if (status !== 0) return;
  for (const pid of stdout.split('\n').filter((line) => line !== '')) await attempt('kill', ['-KILL', pid]);
  await attempt('ip', ['netns', 'del', netns]);
}
