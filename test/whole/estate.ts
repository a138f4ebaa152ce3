import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { makePracticeImage, type Practice, type PracticeImageOptions, startPractice } from '#practice';

const command = path.join(path.dirname(fileURLToPath(import.meta.url)), '..', '..', 'bin', 'tuckpoint.js');

export interface Answer {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
  /** Standard output as JSON; throws when it is not. */
  readonly data: unknown;
}

/** A data folder of its own, practice devices, and the built command line in processes of its own. */
export class Estate {
  readonly folder = mkdtempSync(path.join(os.tmpdir(), 'tuckpoint-whole-'));
  readonly data = path.join(this.folder, 'data');
  practice!: Practice;

  static async start(only: readonly string[], bootMs = 150): Promise<Estate> {
    const estate = new Estate();
    estate.practice = await startPractice({ folder: path.join(estate.folder, 'practice'), bootMs, only });
    for (const device of estate.practice.devices) {
      const upkeep = path.join(estate.folder, `${device.name}.upkeep`);
      const { writeFileSync } = await import('node:fs');
      writeFileSync(upkeep, device.upkeepWord);
      const added = await estate.run(
        'device',
        'add',
        device.name,
        '--handbook',
        device.handbook,
        '--address',
        device.address,
        '--port',
        String(device.port),
        '--user',
        device.user,
        '--key-file',
        device.key,
        '--secret',
        `upkeep=${upkeep}`,
      );
      if (added.code !== 0) throw new Error(added.stderr);
    }
    return estate;
  }

  /** Runs a command with --json to its end. */
  run(...args: string[]): Promise<Answer> {
    return this.watch(args, () => {});
  }

  /** Runs a command with --json; `seen` gets each line of standard error, and may kill the process. */
  watch(args: readonly string[], seen: (line: string, child: ChildProcess) => void): Promise<Answer> {
    const child = spawn(process.execPath, [command, '--json', ...args], { env: this.environment() });
    let stdout = '';
    let stderr = '';
    let rest = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
      const lines = (rest + text).split('\n');
      rest = lines.pop() ?? '';
      for (const line of lines) seen(line, child);
    });
    return new Promise((resolve) => {
      child.on('close', (code, signal) => {
        resolve({
          code,
          signal,
          stdout,
          stderr,
          get data(): unknown {
            return JSON.parse(stdout);
          },
        });
      });
    });
  }

  /** A release for a model; the sheet's path. */
  async image(options: Omit<PracticeImageOptions, 'out'>, name = `${options.release}.img`): Promise<string> {
    return (await makePracticeImage({ ...options, out: path.join(this.folder, 'releases', name) })).sheet;
  }

  environment(): NodeJS.ProcessEnv {
    return {
      ...process.env,
      TUCKPOINT_DATA: this.data,
      TUCKPOINT_KEY_FILE: path.join(this.folder, 'key.txt'),
      TUCKPOINT_PASSPHRASE: undefined,
      TUCKPOINT_KEY: undefined,
    };
  }

  /** The bytes of a file in the data folder, as text of single bytes. */
  readData(name: string): string {
    return readFileSync(path.join(this.data, name), 'latin1');
  }

  async stop(): Promise<void> {
    await this.practice.stop();
    rmSync(this.folder, { recursive: true, force: true });
  }
}
