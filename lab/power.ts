import { spawn } from 'node:child_process';
import { closeSync, existsSync, openSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { attempt, until } from './command.ts';
import { labError } from './errors.ts';
import { type GatewayPlan, LEGS } from './plan.ts';

const BOARD = join(import.meta.dirname, 'device', 'board.sh');
const DEVICE = join(import.meta.dirname, 'device');

/** Writes what the board must know; it is plain shell assignments. */
export function writeBoard(folder: string, plan: GatewayPlan, watchdogSeconds: number): void {
  const legs = LEGS.map((leg) => {
    const { host4, length4, gateway4, host6, gateway6 } = plan.legs[leg];
    return `${leg.toUpperCase()}='${host4}/${length4} ${gateway4} ${host6}/64 ${gateway6}'`;
  });
  const lines = [
    `NETNS=${plan.netns}`,
    `MANAGEMENT=${plan.netns}`,
    `WORKBENCH=${plan.workbench}`,
    `MAC=${plan.macPrefix}`,
    `WATCHDOG=${watchdogSeconds}`,
    `DEVICE='${DEVICE}'`,
    ...legs,
  ];
  writeFileSync(join(folder, 'board.env'), `${lines.join('\n')}\n`);
}

/** Is this process the board of that folder? Process ids are used again. */
function isBoard(pid: number, folder: string): boolean {
  try {
    const args = readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
    return args.includes(BOARD) && args.includes(folder);
  } catch {
    return false;
  }
}

/** The board's process id, or null when it does not run. */
function boardPid(folder: string): number | null {
  const file = join(folder, 'board.pid');
  const pid = existsSync(file) ? Number(readFileSync(file, 'utf8')) : 0;
  return pid > 0 && isBoard(pid, folder) ? pid : null;
}

/** Every process of the board: also one that has not written its id yet, and its watchdog. */
function boardProcesses(folder: string): number[] {
  const pids = readdirSync('/proc').filter((name) => /^\d+$/u.test(name));
  return pids.map(Number).filter((pid) => isBoard(pid, folder));
}

function kill(pid: number): void {
  try {
    process.kill(pid, 'SIGKILL');
  } catch {
    // It ended by itself in between.
  }
}

const isPowered = (folder: string): boolean => boardPid(folder) !== null;

/** How often the gateway began to boot since it was made. */
export function bootCount(folder: string): number {
  try {
    return Number(readFileSync(join(folder, 'boots'), 'utf8'));
  } catch {
    return 0;
  }
}

export type BootState = 'off' | 'booting' | 'well' | 'failed';

export function bootState(folder: string): BootState {
  if (!isPowered(folder)) return 'off';
  if (existsSync(join(folder, 'disk/boot/failed'))) return 'failed';
  return existsSync(join(folder, 'disk/boot/attempt')) ? 'booting' : 'well';
}

/** Switches the power on; returns when the board has begun to boot. */
export async function powerOn(folder: string): Promise<void> {
  if (isPowered(folder)) return;
  const before = bootCount(folder);
  const log = openSync(join(folder, 'console.log'), 'a');
  const board = spawn('/bin/sh', [BOARD, folder], { detached: true, stdio: ['ignore', log, log] });
  closeSync(log);
  board.unref();
  if (!(await until(() => bootCount(folder) > before, 20_000)))
    throw labError('lab/no-boot', 'The gateway did not begin to boot.', {
      place: { file: join(folder, 'console.log') },
    });
}

/**
 * Power loss: the management leg falls silent and every process of the gateway dies at once. The disk keeps what
 * had been written to it; that unwritten caches are lost too is not imitated.
 */
export async function powerOff(folder: string, { netns }: GatewayPlan): Promise<void> {
  await attempt('ip', ['link', 'set', netns, 'down']);
  for (const pid of boardProcesses(folder)) kill(pid);
  const dead = await until(async () => {
    const { status, stdout } = await attempt('ip', ['netns', 'pids', netns]);
    const left = status === 0 ? stdout.split('\n').filter((line) => line !== '') : [];
    for (const each of left) kill(Number(each));
    return left.length === 0;
  }, 10_000);
  if (!dead) throw labError('lab/command', `Processes of the gateway in ${netns} do not end.`);
  await attempt('ip', ['link', 'del', netns]);
  await attempt('ip', ['netns', 'del', netns]);
}
