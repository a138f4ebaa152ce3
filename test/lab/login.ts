import { spawn } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Gateway, Image } from '../../lab/index.ts';

export interface Answer {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Options of the OpenSSH client: this gateway's key and host key, and nothing else. */
export function sshOptions(gateway: Gateway): string[] {
  const known = join(gateway.folder, 'known_hosts');
  writeFileSync(known, `${gateway.reach.address} ${gateway.reach.hostKey}\n`);
  const options = {
    IdentityFile: gateway.reach.keyFile,
    IdentitiesOnly: 'yes',
    UserKnownHostsFile: known,
    StrictHostKeyChecking: 'yes',
    BatchMode: 'yes',
    LogLevel: 'ERROR',
    ConnectTimeout: '5',
    ServerAliveInterval: '1',
    ServerAliveCountMax: '3',
  };
  return [
    '-F',
    '/dev/null',
    ...Object.entries(options).flatMap(([name, value]) => ['-o', `${name}=${value}`]),
  ];
}

export function runProgram(program: string, args: readonly string[]): Promise<Answer> {
  return new Promise((resolve, reject) => {
    const child = spawn(program, [...args], { stdio: ['ignore', 'pipe', 'pipe'] });
    let stdout = '';
    let stderr = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
    });
    child.on('error', reject);
    child.on('close', (status) => resolve({ status, stdout, stderr }));
  });
}

/** Logs in with OpenSSH's own client and runs one command. */
export function tell(gateway: Gateway, command: string): Promise<Answer> {
  const { user, address } = gateway.reach;
  return runProgram('ssh', [...sshOptions(gateway), `${user}@${address}`, command]);
}

/** The same, for a command that must succeed; gives its output. */
export async function ask(gateway: Gateway, command: string): Promise<string> {
  const { status, stdout, stderr } = await tell(gateway, command);
  if (status !== 0) throw new Error(`"${command}" ended with ${status}: ${stderr}${stdout}`);
  return stdout;
}

/** Brings an image into the gateway's /incoming with OpenSSH's scp (over SFTP); gives its path there. */
export async function bring(gateway: Gateway, image: Image): Promise<string> {
  const { user, address } = gateway.reach;
  const { status, stderr } = await runProgram('scp', [
    ...sshOptions(gateway),
    image.path,
    `${user}@${address}:/incoming/new.image`,
  ]);
  if (status !== 0) throw new Error(`scp: ${stderr}`);
  return '/incoming/new.image';
}

/** Values of `slotctl identity`. */
export async function identity(gateway: Gateway): Promise<Record<string, string>> {
  const lines = (await ask(gateway, 'slotctl identity')).trim().split('\n');
  return Object.fromEntries(lines.map((line) => line.split('=') as [string, string]));
}

/** Gives an order that takes the gateway down, and waits until it is back and well. */
export async function andBack(gateway: Gateway, order: string): Promise<void> {
  const boots = gateway.bootCount;
  await ask(gateway, order);
  await gateway.untilWell(boots + 1);
}
