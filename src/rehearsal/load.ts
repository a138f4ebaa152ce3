import { spawn } from 'node:child_process';
import { accessSync, constants } from 'node:fs';
import { mkdtemp, readlink, rmdir } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { pack } from 'tar-stream';
import type { CaptureFile } from '#archive';
import { interfacesNamed } from './interfaces.ts';
import { LOAD_SCRIPT } from './load-script.ts';

/** What came of loading a ruleset for real. */
export type Loaded =
  | {
      readonly state: 'loaded';
      /** What the kernel then held. */
      readonly tables: number;
      readonly chains: number;
      readonly rules: number;
      /** Interfaces that were made so that the ruleset could name them. */
      readonly standIns: readonly string[];
    }
  /** The packet filter here refused it, in its own words. */
  | { readonly state: 'refused'; readonly why: string }
  /** It could not be tried here. */
  | { readonly state: 'not here'; readonly why: string };

const PROGRAMS = ['unshare', 'nft', 'ip', 'tar', 'mount', 'chroot'];
const FOLDERS = ['/usr/local/sbin', '/usr/sbin', '/sbin', '/usr/bin', '/bin'];
/** How long a load may take, in milliseconds. */
const LONGEST = 120_000;

/** Why no ruleset can be loaded on this machine, as one sentence; null: it can be tried. */
export function whyNoLoad(): string | null {
  if (process.platform !== 'linux')
    return `A ruleset of nftables is loaded by Linux, and this is ${process.platform}.`;
  const missing = PROGRAMS.filter((program) => !isInstalled(program));
  return missing.length === 0
    ? null
    : `${missing.join(', ')} ${missing.length > 1 ? 'are' : 'is'} missing here.`;
}

function isInstalled(program: string): boolean {
  return [...(process.env.PATH ?? '').split(path.delimiter), ...FOLDERS].some((folder) => {
    try {
      accessSync(path.join(folder, program), constants.X_OK);
      return true;
    } catch {
      return false;
    }
  });
}

/**
 * Loads ruleset files (`roots`, in order; `rulesets` are all there are, among all files of the capture) into the kernel, in network and mount
 * namespaces made for it and gone afterwards. Without root it is tried in a user namespace.
 */
export async function loadNftables(
  files: readonly CaptureFile[],
  rulesets: readonly string[],
  roots: readonly string[],
  json: boolean,
): Promise<Loaded> {
  const why = whyNoLoad();
  if (why !== null) return { state: 'not here', why };
  const texts = files
    .filter(({ name }) => rulesets.includes(name))
    .map(({ bytes }) => Buffer.from(bytes).toString('utf8'));
  const standIns = interfacesNamed(texts, json);
  const root = await mkdtemp(path.join(tmpdir(), 'rehearsal-')); // stays empty: memory is mounted over it inside
  try {
    const own = process.getuid?.() === 0 ? [] : ['--user', '--map-root-user'];
    const below = roots.map((name) => name.replace(/^\/+/, ''));
    const args = [
      await readlink('/proc/self/ns/net'),
      root,
      json ? 'json' : 'text',
      ...below,
      '--',
      ...standIns,
    ];
    const done = await inNamespaces(own, args, await tarOf(files));
    return outcome(done, standIns, own.length > 0);
  } finally {
    await rmdir(root);
  }
}

interface Done {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

function outcome({ status, stdout, stderr }: Done, standIns: readonly string[], notRoot: boolean): Loaded {
  const said = stderr
    .replace(/^In file included from \/\.rehearsal:.*\n/gm, '')
    .trim()
    .slice(0, 2000);
  if (status === 93 && /^.*Interface does not exist/m.test(said))
    return {
      state: 'not here',
      why: `An interface that it names does not exist here (${said.split('\n')[0]}).`,
    };
  if (status === 93) return { state: 'refused', why: said === '' ? 'nft refused it.' : said };
  if (status === 0) {
    const { nftables } = JSON.parse(stdout) as { nftables: readonly Record<string, unknown>[] };
    const count = (kind: string) => nftables.filter((each) => kind in each).length;
    return {
      state: 'loaded',
      tables: count('table'),
      chains: count('chain'),
      rules: count('rule'),
      standIns,
    };
  }
  const root = notRoot ? ' Root is needed here.' : '';
  const what =
    status === null
      ? 'It took too long.'
      : status === 92
        ? 'An interface that it names could not be made.'
        : status === 91
          ? 'Its files could not be laid out in a namespace.'
          : 'No network namespace of its own could be made.';
  return { state: 'not here', why: `${what}${root}${said === '' ? '' : ` (${said.split('\n')[0]})`}` };
}

function inNamespaces(own: readonly string[], args: readonly string[], input: Buffer): Promise<Done> {
  return new Promise((resolve, reject) => {
    const child = spawn(
      'unshare',
      [
        ...own,
        '--net',
        '--mount',
        '--pid',
        '--fork',
        '--kill-child',
        '--',
        'sh',
        '-c',
        LOAD_SCRIPT,
        'load',
        ...args,
      ],
      {
        env: { PATH: [process.env.PATH ?? '', ...FOLDERS].join(path.delimiter), LC_ALL: 'C' },
        timeout: LONGEST,
        killSignal: 'SIGKILL',
      },
    );
    let stdout = '';
    let stderr = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      if (stderr.length < 100_000) stderr += text;
    });
    child.on('error', reject);
    child.on('close', (status) => resolve({ status, stdout, stderr }));
    child.stdin.on('error', () => undefined); // it may end without reading
    child.stdin.end(input);
  });
}

async function tarOf(files: readonly CaptureFile[]): Promise<Buffer> {
  const tar = pack();
  for (const { name, bytes } of files)
    tar.entry({ name: name.replace(/^\/+/, ''), mode: 0o600 }, Buffer.from(bytes));
  tar.finalize();
  const parts: Buffer[] = [];
  for await (const part of tar) parts.push(part as Buffer);
  return Buffer.concat(parts);
}
