import { spawn } from 'node:child_process';
import { expect, it } from 'vitest';
import type { Gateway } from '../../lab/index.ts';
import { bring, runProgram, sshOptions } from './login.ts';
import { withLab } from './with-lab.ts';

/** A person at a terminal: waits for what the gateway shows, then types. */
class Terminal {
  readonly #child;
  #shown = '';
  #read = 0;

  constructor(gateway: Gateway) {
    const { shell, address } = gateway.reach;
    this.#child = spawn('ssh', ['-tt', ...sshOptions(gateway), `${shell.user}@${address}`], {
      stdio: 'pipe',
    });
    this.#child.stdout.setEncoding('utf8').on('data', (text: string) => {
      this.#shown += text;
    });
  }

  /** What was shown since the last wait, up to and with the text waited for. */
  async until(text: string): Promise<string> {
    await expect.poll(() => this.#shown.slice(this.#read), { timeout: 15_000 }).toContain(text);
    const end = this.#shown.indexOf(text, this.#read) + text.length;
    const part = this.#shown.slice(this.#read, end);
    this.#read = end;
    return part.replaceAll('\r\n', '\n');
  }

  type(text: string): void {
    this.#child.stdin.write(text);
  }

  async say(line: string, then: string): Promise<string> {
    this.type(`${line}\r`);
    return this.until(then);
  }

  close(): void {
    this.#child.kill('SIGKILL');
  }
}

withLab("The gateway's own command shell", { count: 1 }, (stand) => {
  const READ = 'gull-quay-fw1 ~ ';
  const UPKEEP = 'gull-quay-fw1 ! ';
  async function session<T>(work: (terminal: Terminal) => Promise<T>): Promise<T> {
    const terminal = new Terminal(stand.gateway);
    try {
      await terminal.until(READ);
      return await work(terminal);
    } finally {
      terminal.close();
    }
  }

  it('tells what it is and what its slots hold', async () => {
    await session(async (terminal) => {
      expect(await terminal.say('tell identity', READ)).toContain('\nmodel=Groyne 40\n');
      expect(await terminal.say('tell slots', READ)).toMatch(
        /\nslot 1 release=4\.2\.0 \S+ running next\nslot 2 /u,
      );
      expect(await terminal.say('tell weather', READ)).toContain('refused: nothing to tell of "weather"');
    });
  });

  it('shows long answers by the page; q leaves the rest out', async () => {
    await session(async (terminal) => {
      const page = await terminal.say('tell configuration', '[more: space goes on, q stops]');
      // The echo of what was typed, 24 lines, and the pager's own.
      expect(page.split('\n')).toHaveLength(1 + 24 + 1);
      terminal.type(' ');
      expect((await terminal.until('[more: space goes on, q stops]')).split('\n')).toHaveLength(24 + 1);
      terminal.type('q');
      expect(await terminal.until(READ)).not.toContain('users');
    });
  });

  it('changes nothing before the upkeep word is given', async () => {
    await session(async (terminal) => {
      expect(await terminal.say('keep', READ)).toContain(
        'refused: "keep" is not known here, or wants upkeep mode',
      );
      await terminal.say('enter upkeep', 'Upkeep word:');
      expect(await terminal.say('wrong', READ)).toContain('refused: that is not the upkeep word');
    });
  });

  it('asks before it overwrites, and goes on at yes only', async () => {
    await session(async (terminal) => {
      await terminal.say('enter upkeep', 'Upkeep word:');
      const shown = await terminal.say(stand.gateway.reach.shell.upkeepWord, UPKEEP);
      expect(shown).not.toContain(stand.gateway.reach.shell.upkeepWord);
      await terminal.say('keep', 'This overwrites slot 2. Go on? (yes/no) ');
      expect(await terminal.say('no', UPKEEP)).toContain('left as it was');
      expect(await terminal.say('tell slots', UPKEEP)).toContain('slot 2 release=4.1.3');
      await terminal.say('keep', 'This overwrites slot 2. Go on? (yes/no) ');
      expect(await terminal.say('yes', UPKEEP)).toContain('slot 2 now holds what slot 1 holds');
      await terminal.say('leave upkeep', READ);
    });
  });

  it('installs and restarts', async () => {
    const path = await bring(stand.gateway, await stand.lab.makeImage({ version: '4.3.0' }));
    const boots = stand.gateway.bootCount;
    await session(async (terminal) => {
      await terminal.say('enter upkeep', 'Upkeep word:');
      await terminal.say(stand.gateway.reach.shell.upkeepWord, UPKEEP);
      await terminal.say(`take release ${path}`, 'Go on? (yes/no) ');
      expect(await terminal.say('yes', UPKEEP)).toContain('slot 1 holds release 4.3.0');
      await terminal.say('restart', 'Go on? (yes/no) ');
      await terminal.say('yes', 'restarting from slot 1');
    });
    await stand.gateway.untilWell(boots + 1);
    await session(async (terminal) => {
      expect(await terminal.say('tell identity', READ)).toContain('release=4.3.0');
    });
  });

  it('takes no single commands', async () => {
    const { reach } = stand.gateway;
    const answer = await runProgram('ssh', [
      ...sshOptions(stand.gateway),
      `${reach.shell.user}@${reach.address}`,
      'id',
    ]);
    expect(answer).toMatchObject({
      status: 1,
      stdout: 'refused: this login takes no single commands, only a session\n',
    });
  });
});
