import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { AwsClient } from 'aws4fetch';
import type { Bucket } from '../whole/replica-in-bucket.ts';

const KEY_ID = 'estate:replica';
const SECRET = 'made-up-for-the-test';
const BUCKET = 'tidewatch';

/** What a listing gives at once: few, so that a replica's listing goes over several pages. */
const PAGE = 4;

const RINGS = ['account', 'container', 'object'] as const;

const SWIFT = `
[swift-hash]
swift_hash_path_suffix = tidewatch
swift_hash_path_prefix = tidewatch
[storage-policy:0]
name = one
default = yes
`;

/** `tempauth` asks for a cache and does without one that does not answer. */
const PROXY = `
[pipeline:main]
pipeline = catch_errors gatekeeper cache listing_formats s3api tempauth copy dlo slo versioned_writes proxy-server
[app:proxy-server]
use = egg:swift#proxy
account_autocreate = true
[filter:cache]
use = egg:swift#memcache
memcache_servers = 127.0.0.1:1
[filter:s3api]
use = egg:swift#s3api
max_bucket_listing = ${PAGE}
[filter:tempauth]
use = egg:swift#tempauth
user_${KEY_ID.replace(':', '_')} = ${SECRET} .admin
${['catch_errors', 'gatekeeper', 'listing_formats', 'copy', 'dlo', 'slo', 'versioned_writes']
  .map((filter) => `[filter:${filter}]\nuse = egg:swift#${filter}`)
  .join('\n')}
`;

/** Prints each file of objects below a folder with the object's name, which stands in an attribute of the file. */
const LIST = `
import glob, os, pickle, sys
for file in glob.glob(sys.argv[1] + '/**/*.data', recursive=True):
    print(file + '\\t' + pickle.loads(os.getxattr(file, 'user.swift.metadata'))[b'name'].decode())
`;

/** Ports nobody listens on now. All are held until each is known, so that none comes twice. */
async function freePorts(count: number): Promise<number[]> {
  const servers = await Promise.all(
    Array.from({ length: count }, async () => {
      const server = createServer().listen(0, '127.0.0.1');
      await once(server, 'listening');
      return server;
    }),
  );
  const ports = servers.map((server) => (server.address() as { port: number }).port);
  await Promise.all(servers.map(async (server) => once(server.close(), 'close')));
  return ports;
}

/** OpenStack Swift with its S3 interface on loopback: one process each for accounts, containers, objects and the front. */
export async function objectStore(folder: string): Promise<Bucket> {
  const disk = path.join(folder, 'disks');
  mkdirSync(path.join(disk, 'd1'), { recursive: true });
  const [front, ...ports] = await freePorts(1 + RINGS.length);
  const processes: ChildProcess[] = [];
  const file = (name: string, text: string) => {
    writeFileSync(path.join(folder, name), text);
    return path.join(folder, name);
  };
  const run = (kind: string, port: number, rest: string) => {
    const common = `[DEFAULT]\nbind_ip = 127.0.0.1\nbind_port = ${port}\nworkers = 0\nuser = root\nswift_dir = ${folder}\n`;
    const config = file(`${kind}.conf`, common + rest);
    processes.push(spawn(`swift-${kind}-server`, [config, '-v'], { stdio: 'ignore' }));
  };

  const stop = async () => {
    for (const child of processes.splice(0)) {
      child.kill('SIGKILL');
      if (child.exitCode === null && child.signalCode === null) await once(child, 'exit');
    }
  };

  file('swift.conf', SWIFT);
  for (const [i, ring] of RINGS.entries()) {
    const builder = path.join(folder, `${ring}.builder`);
    for (const words of [
      ['create', '2', '1', '0'],
      ['add', `r1z1-127.0.0.1:${ports[i]}/d1`, '1'],
      ['rebalance'],
    ])
      execFileSync('swift-ring-builder', [builder, ...words], { stdio: 'ignore' });
    run(
      ring,
      ports[i]!,
      `devices = ${disk}\nmount_check = false\n[pipeline:main]\npipeline = ${ring}-server\n[app:${ring}-server]\nuse = egg:swift#${ring}\n`,
    );
  }
  run('proxy', front!, PROXY);

  const endpoint = `http://127.0.0.1:${front}`;
  const client = new AwsClient({ accessKeyId: KEY_ID, secretAccessKey: SECRET, service: 's3', retries: 0 });
  for (let answer = 'nothing', tries = 0; answer !== '200'; tries += 1) {
    const dead = processes.find((child) => child.exitCode !== null);
    if (dead !== undefined || tries === 300) {
      await stop();
      throw new Error(`The store at ${endpoint} answers ${answer}; ended by itself: ${dead?.spawnargs}.`);
    }
    await sleep(200);
    answer = await client.fetch(`${endpoint}/${BUCKET}`, { method: 'PUT' }).then(
      async (made) => (made.ok ? '200' : `${made.status} ${await made.text()}`),
      (cause: Error) => cause.message,
    );
  }

  return {
    endpoint,
    bucket: BUCKET,
    keyId: KEY_ID,
    secret: SECRET,
    objects: (prefix) =>
      execFileSync('python3', ['-c', LIST, path.join(disk, 'd1', 'objects')], { encoding: 'utf8' })
        .split('\n')
        .map((line) => line.split('\t'))
        .filter(([, name]) => name?.startsWith(`/AUTH_estate/${BUCKET}/${prefix}`))
        .map(([name]) => name!),
    stop,
  };
}
