import { createCipheriv, createHash, sign } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { labError } from '../errors.ts';
import type { ImageFault } from './fault.ts';
import { soundMigration, stepsOf } from './fault-steps.ts';
import { makerKey, strangerKey } from './maker-key.ts';

/** One file of a release. */
export interface Member {
  readonly name: string;
  readonly bytes: Buffer;
  readonly executable: boolean;
}

export interface ReleaseOptions {
  readonly version: string;
  /** The least release it wants to come from. */
  readonly from?: string;
  readonly models?: readonly string[];
  readonly fault?: ImageFault | undefined;
  /** The first boot carries the configuration over to what this release expects (soundly). */
  readonly migrates?: boolean;
  /** Bytes of the incompressible member that stands for drivers and programs. */
  readonly payloadBytes?: number;
}

/** A release before it is packed: its statement (release.json), the signature over it, and its members. */
export interface Release {
  readonly version: string;
  readonly from: string;
  readonly models: readonly string[];
  readonly statement: Buffer;
  readonly signature: Buffer;
  readonly members: readonly Member[];
}

const SOURCE = join(import.meta.dirname, '..', 'device', 'release');
const DEFAULT_PAYLOAD = 256 * 1024;

const sha256 = (bytes: Buffer) => createHash('sha256').update(bytes).digest('hex');

/** Bytes that do not compress and are the same for the same version. */
function payload(version: string, size: number): Buffer {
  const key = createHash('sha256').update(`payload of ${version}`).digest();
  return createCipheriv('aes-256-ctr', key, Buffer.alloc(16)).update(Buffer.alloc(size));
}

function sharedMembers(): Member[] {
  const read = (name: string): Member => ({
    name,
    bytes: readFileSync(join(SOURCE, name)),
    executable: true,
  });
  return [read('boot'), ...readdirSync(join(SOURCE, 'bin')).map((name) => read(`bin/${name}`))];
}

/** One member a line: the gateway's shell reads the statement after it has verified the signature. */
function statementOf(
  version: string,
  from: string,
  models: readonly string[],
  members: readonly Member[],
): Buffer {
  const lines = members.map(
    ({ name, bytes }) => `    { "name": "${name}", "size": ${bytes.length}, "sha256": "${sha256(bytes)}" }`,
  );
  const fits = models.map((model) => `"${model}"`).join(', ');
  return Buffer.from(
    `{\n  "version": "${version}",\n  "from": "${from}",\n  "models": [${fits}],\n  "members": [\n${lines.join(',\n')}\n  ]\n}\n`,
  );
}

/** Builds a release of the lab gateway, with a fault if one is asked for. Throws `lab/input` for an odd version. */
export function buildRelease(options: ReleaseOptions): Release {
  const { version, fault, from = '4.0.0', payloadBytes = DEFAULT_PAYLOAD } = options;
  if (!/^\d+(\.\d+){1,3}(-[a-z0-9.]+)?$/u.test(version))
    throw labError('lab/input', `"${version}" is not a release number.`, {
      advice: 'Write one such as 4.3.0.',
    });
  const models = fault?.kind === 'wrong-model' ? ['Groyne 200'] : (options.models ?? ['Groyne 40']);
  const steps = [
    ...(options.migrates ? [soundMigration] : []),
    ...(fault === undefined ? [] : stepsOf(fault)),
  ];
  const members = [
    ...sharedMembers(),
    ...steps.map(({ name, script }) => ({
      name: `boot.d/${name}`,
      bytes: Buffer.from(script),
      executable: true,
    })),
    { name: 'payload', bytes: payload(version, payloadBytes), executable: false },
  ];
  const statement = statementOf(version, from, models, members);
  const signature = sign(null, statement, fault?.kind === 'bad-signature' ? strangerKey : makerKey);
  return { version, from, models, statement, signature, members };
}
