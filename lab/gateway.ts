import { rmSync, statfsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { attempt, command, type Outcome, until } from './command.ts';
import { labError } from './errors.ts';
import type { GatewayPlan, Leg } from './plan.ts';
import { type BootState, bootCount, bootState, powerOff, powerOn } from './power.ts';
import type { Reach } from './reach.ts';

/** A host behind one leg of a gateway: a network namespace of its own, from which real packets are sent. */
export class Host {
  readonly netns: string;
  readonly address4: string;
  readonly address6: string;
  constructor(netns: string, address4: string, address6: string) {
    this.netns = netns;
    this.address4 = address4;
    this.address6 = address6;
  }

  /** Runs a program of this machine at the host. */
  run(program: string, ...args: string[]): Promise<Outcome> {
    return attempt('ip', ['netns', 'exec', this.netns, program, ...args]);
  }
}

/** One gateway of a lab, from the outside: its power, its disk, its cables, and what stands behind its legs. */
export class Gateway {
  /** Where the gateway's disk, console log and board stand on this machine. */
  readonly folder: string;
  readonly plan: GatewayPlan;
  readonly reach: Reach;
  readonly hosts: Readonly<Record<Leg, Host>>;

  constructor(folder: string, plan: GatewayPlan, reach: Reach) {
    this.folder = folder;
    this.plan = plan;
    this.reach = reach;
    const host = (leg: Leg) => {
      const { netns, host4, host6 } = plan.legs[leg];
      return new Host(netns, host4, host6);
    };
    this.hosts = { outside: host('outside'), inside: host('inside'), dmz: host('dmz') };
  }

  /** How often it began to boot since it was made. */
  get bootCount(): number {
    return bootCount(this.folder);
  }

  get state(): BootState {
    return bootState(this.folder);
  }

  /** Power loss at this instant. */
  powerOff(): Promise<void> {
    return powerOff(this.folder, this.plan);
  }

  powerOn(): Promise<void> {
    return powerOn(this.folder);
  }

  /** Power off and on; does not wait for the boot to end. */
  async powerCycle(): Promise<void> {
    await this.powerOff();
    await this.powerOn();
  }

  /** Waits until a boot (the `boots`th or a later one) ended well. Throws `lab/no-boot` with the console's last lines. */
  async untilWell(boots = this.bootCount, withinMs = 30_000): Promise<void> {
    await this.#untilBoot('well', boots, withinMs);
  }

  /** Waits until a boot (the `boots`th or a later one) failed. */
  async untilFailed(boots = this.bootCount, withinMs = 30_000): Promise<void> {
    await this.#untilBoot('failed', boots, withinMs);
  }

  async #untilBoot(wanted: BootState, boots: number, withinMs: number): Promise<void> {
    if (await until(() => this.bootCount >= boots && this.state === wanted, withinMs)) return;
    const { stdout } = await attempt('tail', ['-n', '5', this.consoleLog]);
    throw labError(
      'lab/no-boot',
      `${this.plan.hostname} is ${this.state} after ${this.bootCount} boots, not ${wanted}. Its console: ${stdout}`,
    );
  }

  get consoleLog(): string {
    return join(this.folder, 'console.log');
  }

  /** Runs a program inside the gateway, past its logins: for tests and faults. The gateway must be powered. */
  async run(program: string, ...args: string[]): Promise<Outcome> {
    const pids = await command('ip', ['netns', 'pids', this.plan.netns]);
    // The board's own child stands in the network namespace too; the gateway's first process is that one's child.
    for (const pid of pids.split('\n').filter((line) => line !== '')) {
      const { stdout } = await attempt('pgrep', ['-P', pid, '-f', '/rom/kernel.sh']);
      const first = stdout.split('\n')[0];
      if (first) return attempt('nsenter', ['-a', '-t', first, '--', program, ...args]);
    }
    throw labError(
      'lab/no-boot',
      `${this.plan.hostname} has no first process: it is off or just beginning to boot.`,
    );
  }

  /** Fills the disk to the last block, except `leaveBytes`. */
  fillDisk(leaveBytes = 0): void {
    this.freeDisk();
    const disk = join(this.folder, 'disk');
    const { bavail, bsize } = statfsSync(disk);
    writeFileSync(join(disk, 'filler'), Buffer.alloc(Math.max(0, bavail * bsize - leaveBytes)));
  }

  /** Takes back what `fillDisk` wrote. */
  freeDisk(): void {
    rmSync(join(this.folder, 'disk/filler'), { force: true });
  }

  /** Pulls the cable of the management leg; `connect` puts it back. */
  async disconnect(): Promise<void> {
    await command('ip', ['link', 'set', this.plan.netns, 'down']);
  }

  async connect(): Promise<void> {
    await command('ip', ['link', 'set', this.plan.netns, 'up']);
  }
}
