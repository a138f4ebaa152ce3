import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { FACTORY_RUNNING, FACTORY_SPARE } from '../../lab/index.ts';
import { ask, bring } from './login.ts';
import { withLab } from './with-lab.ts';

/** What a slot on the disk of a gateway that is off holds: `release+configuration`. Throws where it is not whole. */
function pairIn(disk: string, slot: string): string {
  const pair = join(disk, 'slots', slot);
  const statement = JSON.parse(readFileSync(join(pair, 'release/release.json'), 'utf8')) as {
    version: string;
    members: { name: string; sha256: string }[];
  };
  const sha256 = (path: string) => createHash('sha256').update(readFileSync(path)).digest('hex');
  for (const { name, sha256: stated } of statement.members) {
    if (sha256(join(pair, 'release', name)) !== stated) throw new Error(`slot ${slot}: ${name} is not whole`);
  }
  const files = readdirSync(join(pair, 'config')).sort();
  const lines = files.map((name) => `${sha256(join(pair, 'config', name))}  ${name}\n`).join('');
  return `${statement.version}+${createHash('sha256').update(lines).digest('hex').slice(0, 16)}`;
}

withLab('A power loss', { count: 1 }, (stand) => {
  const disk = () => join(stand.gateway.folder, 'disk');
  const halted = () => join(disk(), 'halted');
  const pairs = () => [pairIn(disk(), '1'), pairIn(disk(), '2')] as const;

  /**
   * Runs slotctl under bash, stops it in front of the command that follows the `change`th change of the disk, and
   * takes the power away there. False when it ran to its end with fewer changes.
   */
  async function loseAfter(change: number, words: string): Promise<boolean> {
    rmSync(halted(), { force: true });
    const look = "find /disk/slots /disk/store /disk/boot -printf '%p %l %s %T@ '";
    const stop = `[ "$now" = "$last" ] || { last=$now; n=$((n + 1)); [ $n != ${change} ] || { : >/disk/halted; sleep 60; }; }`;
    const trap = `n=0; last=$(${look}); step() { now=$(${look}); ${stop}; return 0; }; set -T; trap step DEBUG`;
    const ended = stand.gateway
      .run('bash', '-c', `${trap}; set -- ${words}; . /run/release/bin/slotctl`)
      .then(() => true);
    let over = false;
    const stopped = async () => {
      while (!over && !existsSync(halted())) await new Promise((resolve) => setTimeout(resolve, 5));
      return false;
    };
    over = await Promise.race([ended, stopped()]);
    if (!over) await stand.gateway.powerOff();
    return !over;
  }

  /** Loses power after the first, second, … change of the disk; says what the slots held then, each time. */
  async function everywhere(words: string): Promise<string[]> {
    const seen: string[] = [];
    for (let change = 1; await loseAfter(change, words); change += 1) {
      const [first, second] = pairs();
      seen.push(`${first} ${second}`);
      await stand.gateway.powerOn();
      await stand.gateway.untilWell();
      expect(pairs(), `after a loss at change ${change} of ${words}`).toEqual([first, second]);
    }
    // A folder, its release, its configuration, the link, the rename: there are at least these.
    expect(seen.length, `changes of ${words}`).toBeGreaterThanOrEqual(4);
    return seen;
  }

  const numberOf = (states: readonly string[]) => new Set(states).size;

  it('at any change an install makes leaves the running slot with the old release or the new one, whole, and it boots', async () => {
    const [running, spare] = pairs();
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0' }));
    const seen = await everywhere(`install ${path}`);
    const after = running.replace(FACTORY_RUNNING, '4.3.0');
    expect(seen.every((state) => [`${running} ${spare}`, `${after} ${spare}`].includes(state))).toBe(true);
    expect(numberOf(seen)).toBe(2);
  });

  it('at any change a keep makes leaves the spare slot with its old pair or the running one', async () => {
    const [running, spare] = pairs();
    expect(spare).toContain(FACTORY_SPARE);
    const seen = await everywhere('keep');
    expect(seen.every((state) => [`${running} ${spare}`, `${running} ${running}`].includes(state))).toBe(
      true,
    );
    expect(numberOf(seen)).toBe(2);
  });

  it('at any change a load makes leaves the running slot with the old configuration or the new one', async () => {
    const [running, spare] = pairs();
    await ask(
      stand.gateway,
      'rm -rf /incoming/new && cp -rL /config /incoming/new && echo "# one more line" >>/incoming/new/sysctl.conf',
    );
    const seen = await everywhere('load /incoming/new');
    expect(seen.every((state) => state.endsWith(` ${spare}`))).toBe(true);
    expect(seen).toContain(`${running} ${spare}`);
    expect(numberOf(seen)).toBe(2);
  });

  it('leaves nothing on the disk that no slot holds, once the next operation has begun', async () => {
    await ask(stand.gateway, 'slotctl keep');
    expect(readdirSync(join(disk(), 'store'))).toHaveLength(2);
  });
});
