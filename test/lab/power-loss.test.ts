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

withLab('A power loss at any command', { count: 1 }, (stand) => {
  const disk = () => join(stand.gateway.folder, 'disk');
  const halted = () => join(disk(), 'halted');
  const pairs = () => [pairIn(disk(), '1'), pairIn(disk(), '2')] as const;

  /**
   * Runs slotctl under bash, stops it in front of its `count`th command and takes the power away there. False when
   * it ran to its end before that.
   */
  async function loseIn(words: string, count: number): Promise<boolean> {
    rmSync(halted(), { force: true });
    const trap = `n=0; stop() { n=$((n + 1)); [ $n = ${count} ] && { : >/disk/halted; sleep 60; }; return 0; }; set -T; trap stop DEBUG`;
    const ended = stand.gateway
      .run('bash', '-c', `${trap}; set -- ${words}; . /run/release/bin/slotctl`)
      .then(() => 'ended' as const);
    const stopped = async () => {
      while (!existsSync(halted())) await new Promise((resolve) => setTimeout(resolve, 5));
      return 'stopped' as const;
    };
    // The loop ends with the test's own time at the latest: one of the two must come.
    const first = await Promise.race([ended, stopped()]);
    if (first === 'ended') rmSync(halted(), { force: true });
    else await stand.gateway.powerOff();
    return first === 'stopped';
  }

  /** Loses power in front of the first, second, … command; says what the slots held then, each time. */
  async function everywhere(words: string, prepare = ''): Promise<string[]> {
    const seen: string[] = [];
    for (let count = 1; ; count += 1) {
      if (prepare !== '') await ask(stand.gateway, prepare);
      if (!(await loseIn(words, count))) {
        expect(count, 'commands of slotctl').toBeGreaterThan(15);
        return seen;
      }
      const [first, second] = pairs();
      seen.push(`${first} ${second}`);
      await stand.gateway.powerOn();
      await stand.gateway.untilWell();
      expect(pairs(), `after a loss at command ${count} of ${words}`).toEqual([first, second]);
    }
  }

  const numberOf = (states: readonly string[]) => new Set(states).size;

  it('of an install leaves the running slot with the old release or the new one, whole, and it boots', async () => {
    const [running, spare] = pairs();
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0' }));
    const seen = await everywhere(`install ${path}`);
    const after = running.replace(FACTORY_RUNNING, '4.3.0');
    expect(seen.every((state) => [`${running} ${spare}`, `${after} ${spare}`].includes(state))).toBe(true);
    expect(numberOf(seen)).toBe(2);
  });

  it('of a keep leaves the spare slot with its old pair or the running one', async () => {
    const [running, spare] = pairs();
    expect(spare).toContain(FACTORY_SPARE);
    const seen = await everywhere('keep');
    expect(seen.every((state) => [`${running} ${spare}`, `${running} ${running}`].includes(state))).toBe(
      true,
    );
    expect(numberOf(seen)).toBe(2);
  });

  it('of a load leaves the running slot with the old configuration or the new one', async () => {
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
