import { type ChildProcess, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import type { RunEvent, RunReport } from '#runs';

const program = path.join(path.dirname(fileURLToPath(import.meta.url)), '..', '..', 'bin', 'tuckpoint.js');

export interface Answer {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** What a run prints with --json. */
export interface RunAnswer {
  readonly run: string;
  readonly decision: string;
  readonly reason: string;
  readonly reportFile: string;
  readonly report: RunReport;
}

/** How a device is taken into care. Secrets are written to files first, as a person would. */
export interface Care {
  readonly name: string;
  readonly handbook: string;
  readonly address: string;
  readonly port: number;
  readonly user: string;
  readonly keyFile: string;
  readonly secrets?: Readonly<Record<string, string>>;
}

/** A data folder of its own and the built command line, in processes of its own. */
export class Workbench {
  readonly folder = mkdtempSync(path.join(os.tmpdir(), 'tuckpoint-whole-'));
  readonly data = path.join(this.folder, 'data');
  /** All that any command printed so far. */
  printed = '';

  /** How to start a command in a process of its own. */
  command(...args: string[]) {
    return { program: process.execPath, args: [program, ...args], environment: this.#environment() };
  }

  /** Runs a command as a person does, to its end. */
  say(...args: string[]): Promise<Answer> {
    return this.#spawn(args, () => {});
  }

  /** Runs a command with --json to its end. */
  run(...args: string[]): Promise<Answer> {
    return this.#spawn(['--json', ...args], () => {});
  }

  /** Runs a run with --json to its end, and gives what it printed. Throws when that is no ended run. */
  async ended(...args: string[]): Promise<RunAnswer & { readonly code: number | null }> {
    const answer = await this.run(...args);
    const printed = dataOf<RunAnswer>(answer);
    if (typeof printed.decision !== 'string') throw new Error(`${args.join(' ')}: ${answer.stderr}`);
    return { ...printed, code: answer.code };
  }

  /** Runs a command with --json; `seen` gets each event of its run, and may kill the process. */
  watch(
    args: readonly string[],
    seen: (event: RunEvent, child: ChildProcess) => void | Promise<void>,
  ): Promise<Answer> {
    let rest = '';
    return this.#spawn(['--json', ...args], (text, child) => {
      const lines = (rest + text).split('\n');
      rest = lines.pop() ?? '';
      for (const line of lines) if (line.startsWith('{')) void seen(JSON.parse(line) as RunEvent, child);
    });
  }

  /** Kills a run with SIGKILL as soon as it says that the step has come to this moment. */
  async killAt(args: readonly string[], step: string, moment: 'started' | 'acted' | 'done'): Promise<void> {
    const answer = await this.watch(args, (event, child) => {
      if (event.kind === 'step' && event.step === step && event.state === moment) child.kill('SIGKILL');
    });
    if (answer.signal === 'SIGKILL') return;
    throw new Error(`The run ended before it was killed at ${step}: ${answer.stdout}${answer.stderr}`);
  }

  /** Takes a device into care. Throws with what was said when that fails. */
  async add(care: Care): Promise<void> {
    const secrets = Object.entries(care.secrets ?? {}).flatMap(([name, word]) => [
      '--secret',
      `${name}=${this.file(`${care.name}.${name}`, word)}`,
    ]);
    const added = await this.run(
      ...['device', 'add', care.name, '--handbook', care.handbook, '--address', care.address],
      ...['--port', String(care.port), '--user', care.user, '--key-file', care.keyFile, ...secrets],
    );
    if (added.code !== 0) throw new Error(added.stderr);
  }

  /** Writes a file outside the data folder; its path. */
  file(name: string, text: string | Uint8Array): string {
    const file = path.join(this.folder, 'files', name);
    mkdirSync(path.dirname(file), { recursive: true });
    writeFileSync(file, text);
    return file;
  }

  /** Files of the data folder that hold these bytes; empty when none does. */
  filesHolding(secret: string): string[] {
    return readdirSync(this.data, { recursive: true, withFileTypes: true })
      .filter((entry) => entry.isFile())
      .map((entry) => path.join(entry.parentPath, entry.name))
      .filter((file) => readFileSync(file).includes(secret));
  }

  remove(): void {
    rmSync(this.folder, { recursive: true, force: true });
  }

  #spawn(args: readonly string[], heard: (text: string, child: ChildProcess) => void): Promise<Answer> {
    const { program: node, args: all, environment } = this.command(...args);
    const child = spawn(node, all, { env: environment, stdio: 'pipe' });
    child.stdin.end();
    let stdout = '';
    let stderr = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
      heard(text, child);
    });
    return new Promise((resolve, reject) => {
      child.on('error', reject);
      child.on('close', (code, signal) => {
        this.printed += stdout + stderr;
        resolve({ code, signal, stdout, stderr });
      });
    });
  }

  #environment(): NodeJS.ProcessEnv {
    const { TUCKPOINT_PASSPHRASE: _p, TUCKPOINT_KEY: _k, NO_COLOR: _c, ...rest } = process.env;
    return {
      ...rest,
      TUCKPOINT_DATA: this.data,
      TUCKPOINT_KEY_FILE: path.join(this.folder, 'key.txt'),
      XDG_STATE_HOME: path.join(this.folder, 'state'),
    };
  }
}

/** Standard output as JSON. Throws with what was said when it is none. */
export function dataOf<T>(answer: Answer): T {
  try {
    return JSON.parse(answer.stdout) as T;
  } catch (cause) {
    throw new Error(`Not JSON (exit code ${answer.code}): ${answer.stdout}${answer.stderr}`, { cause });
  }
}
