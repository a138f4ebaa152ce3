import { spawn } from 'node:child_process';
import { labError } from './errors.ts';

/** What a command said. `status` is null when a signal ended it. */
export interface Outcome {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Runs a program of this machine to its end and gives what it said, whatever its status. */
export function attempt(program: string, args: readonly string[], input = ''): Promise<Outcome> {
  return new Promise((resolve, reject) => {
    const child = spawn(program, [...args], { stdio: 'pipe' });
    let stdout = '';
    let stderr = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
    });
    child.on('error', (cause) =>
      reject(labError('lab/command', `The program ${program} could not be started.`, { cause })),
    );
    child.on('close', (status) => resolve({ status, stdout, stderr }));
    // A program may end without reading its input.
    child.stdin.on('error', () => undefined);
    child.stdin.end(input);
  });
}

/** Runs a program of this machine and gives its output. Throws `lab/command` with what it said when it fails. */
export async function command(program: string, args: readonly string[], input = ''): Promise<string> {
  const { status, stdout, stderr } = await attempt(program, args, input);
  if (status === 0) return stdout;
  const said = stderr.trim() || stdout.trim() || `status ${status}`;
  throw labError('lab/command', `"${[program, ...args].join(' ')}" failed: ${said}`);
}

/** Asks again and again, every `everyMs`, until the answer is yes; false when `withinMs` have passed first. */
export async function until(
  question: () => boolean | Promise<boolean>,
  withinMs: number,
  everyMs = 50,
): Promise<boolean> {
  const deadline = performance.now() + withinMs;
  while (!(await question())) {
    if (performance.now() > deadline) return false;
    await new Promise((resolve) => setTimeout(resolve, everyMs));
  }
  return true;
}
