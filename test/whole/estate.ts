import path from 'node:path';
import {
  type DeviceControl,
  makePracticeImage,
  type Practice,
  type PracticeAccess,
  type PracticeImage,
  type PracticeImageOptions,
  startPractice,
} from '#practice';
import { type RunAnswer, Workbench } from './workbench.ts';

/** A workbench with practice devices in its care. The devices live in the test's own process. */
export class Estate extends Workbench {
  practice!: Practice;
  #made = 0;

  static async start(only: readonly string[], bootMs = 150): Promise<Estate> {
    const estate = new Estate();
    estate.practice = await startPractice({ folder: path.join(estate.folder, 'practice'), bootMs, only });
    for (const device of estate.practice.devices) await estate.add(careOf(device));
    return estate;
  }

  control(name: string): DeviceControl {
    return this.practice.device(name);
  }

  access(name: string): PracticeAccess {
    const found = this.practice.devices.find((device) => device.name === name);
    if (found === undefined) throw new Error(`${name} is not in this estate`);
    return found;
  }

  /** What the device's running slot holds, seen from outside the device. */
  runs(name: string) {
    return this.control(name)
      .slots()
      .find((slot) => slot.running)!;
  }

  /** The packet rules in it. */
  policy(name: string): string {
    const files = this.control(name).configuration(this.runs(name).id);
    return Buffer.from(files.get('policy.nft')!).toString();
  }

  /** A release for a device's model, newer than all made before. */
  async release(
    name: string,
    more: Partial<PracticeImageOptions> = {},
  ): Promise<PracticeImage & { release: string }> {
    const release = more.release ?? `9.${++this.#made}.0`;
    const options = { models: [this.access(name).model], ...more, release };
    const out = path.join(this.folder, 'releases', `${name}-${release}.img`);
    return { ...(await makePracticeImage({ ...options, out })), release };
  }

  /** A good update, as the proof that device and store are sound. Throws when it is not kept. */
  async updateWell(name: string, ...more: string[]): Promise<RunAnswer> {
    const { sheet, release } = await this.release(name);
    const done = await this.ended('update', name, '--to', sheet, ...more);
    if (done.decision !== 'kept' || this.runs(name).release !== release)
      throw new Error(`The update of ${name} ended as "${done.decision}": ${done.reason}`);
    return done;
  }

  async stop(): Promise<void> {
    await this.practice.stop();
    this.remove();
  }
}

/** What a person enters to take a practice device into care. */
export function careOf({ key, upkeepWord, ...device }: PracticeAccess) {
  return { ...device, keyFile: key, secrets: { upkeep: upkeepWord } };
}
