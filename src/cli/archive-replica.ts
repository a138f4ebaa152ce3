import path from 'node:path';
import type { Command } from 'commander';
import {
  folderStore,
  insideOf,
  pacedStore,
  type ReplicaStore,
  replicate,
  restoreReplica,
  s3Store,
} from '#archive';
import { TuckpointError } from '#core/errors';
import type { CliContext } from './context.ts';

interface PlaceOptions {
  endpoint?: string;
  region?: string;
  limit?: string;
}

const PLACE = 'a folder, or s3://BUCKET/PREFIX (keys from TUCKPOINT_S3_KEY_ID and TUCKPOINT_S3_SECRET)';

function placeOf(place: string, options: PlaceOptions): ReplicaStore {
  const store = place.startsWith('s3://') ? bucketOf(place, options) : folderStore(path.resolve(place));
  if (options.limit === undefined) return store;
  const limit = Number(options.limit);
  if (!(limit > 0)) throw new TuckpointError('cli/bad-option', '--limit is a number of bytes per second.');
  return pacedStore(store, limit);
}

function bucketOf(place: string, { endpoint, region }: PlaceOptions): ReplicaStore {
  const { hostname: bucket, pathname } = new URL(place);
  const { TUCKPOINT_S3_KEY_ID: accessKeyId, TUCKPOINT_S3_SECRET: secretAccessKey } = process.env;
  if (endpoint === undefined || accessKeyId === undefined || secretAccessKey === undefined)
    throw new TuckpointError(
      'cli/bad-option',
      'A bucket needs --endpoint, and its keys in the environment.',
      {
        advice: 'Set TUCKPOINT_S3_KEY_ID and TUCKPOINT_S3_SECRET.',
      },
    );
  if (bucket === '' || !URL.canParse(endpoint) || !/^https?:/.test(endpoint))
    throw new TuckpointError('cli/bad-option', `${place} at ${endpoint} is not the address of a bucket.`, {
      advice:
        'Write s3://BUCKET/PREFIX, and --endpoint with an address such as https://s3.brackwater.example.',
    });
  const prefix = pathname.replace(/^\/+/, '').replace(/\/*$/, (end) => (pathname.length > 1 ? '/' : end));
  return s3Store({
    endpoint,
    bucket,
    prefix,
    ...(region === undefined ? {} : { region }),
    accessKeyId,
    secretAccessKey,
  });
}

/** `archive replicate | restore-replica` */
export function archiveReplicaCommands(archive: Command, context: CliContext): void {
  archive
    .command('replicate <place>')
    .description(`bring a replica up to date, every file read back. The place is ${PLACE}`)
    .option('--endpoint <url>', 'address of the S3-compatible store')
    .option('--region <name>', 'its region')
    .option('--limit <bytes>', 'bytes per second, on average')
    .option('--read-all', 'read back every file, also those known to be right')
    .action(async (place: string, options: PlaceOptions & { readAll?: boolean }) => {
      const bench = await context.workbench();
      const store = placeOf(place, options);
      const report = await replicate(insideOf(bench.archive), store, {
        ring: bench.folder,
        readAll: options.readAll === true,
        progress: (done, total) => context.out.progress(`   … ${done} of ${total} files`),
      });
      const { written, bytes, kept, removed } = report;
      context.out.result(
        { where: store.where, ...report },
        `${store.where}: ${written} files (${bytes} bytes) written and read back, ${kept} there already, ${removed} removed.`,
      );
    });

  archive
    .command('restore-replica <place>')
    .description('bring the whole archive back from a replica alone, into an empty data folder')
    .option('--endpoint <url>', 'address of the S3-compatible store')
    .option('--region <name>', 'its region')
    .option('--limit <bytes>', 'bytes per second, on average')
    .action(async (place: string, options: PlaceOptions) => {
      const data = context.dataFolder();
      const folder = path.join(data, 'archive');
      const tell = (done: number, total: number) => context.out.progress(`   … ${done} of ${total} files`);
      const { files, bytes } = await restoreReplica(placeOf(place, options), folder, tell, data);
      context.out.result(
        { folder, files, bytes },
        `${files} files, ${bytes} bytes brought back. Now run "archive verify" with the passphrase, key file or recovery key.`,
      );
    });
}
