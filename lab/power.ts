import { spawn } from 'node:child_process';
import { closeSync, existsSync, openSync, readFileSync, writeFileSync } from 'node:fs';
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

/** The board's process id, if that process still runs and is this board's (process ids are used again). */
function boardPid(folder: string): number | null {
  try {
    const pid = Number(readFileSync(join(folder, 'board.pid'), 'utf8'));
    const args = readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
    return args.includes(BOARD) && args.includes(folder) ? pid : null;
  } catch {
    return null;
  }
}

export const isPowered = (folder: string): boolean => boardPid(folder) !== null;

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
  const pid = boardPid(folder);
  await attempt('ip', ['link', 'set', netns, 'down']);
  if (pid !== null) process.kill(pid, 'SIGKILL');
  const dead = await until(async () => {
    const { status, stdout } = await attempt('ip', ['netns', 'pids', netns]);
    const left = status === 0 ? stdout.split('\n').filter((line) => line !== '') : [];
    for (const each of left) {
      try {
        process.kill(Number(each), 'SIGKILL');
      } catch {
        // It ended by itself in between.
      }
    }
    return left.length === 0;
  }, 10_000);
  if (!dead) throw labError('lab/command', `Processes of the gateway in ${netns} do not end.`);
  await attempt('ip', ['link', 'del', netns]);
  await attempt('ip', ['netns', 'del', netns]);
}
