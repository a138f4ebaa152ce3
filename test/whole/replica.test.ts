import { mkdirSync, readdirSync } from 'node:fs';
import path from 'node:path';
import S3rver from 's3rver';
import { testReplicaIn } from './replica-in-bucket.ts';

testReplicaIn(async (folder) => {
  mkdirSync(folder);
  const options = { port: 0, address: '127.0.0.1', silent: true, directory: folder };
  const server = new S3rver({ ...options, configureBuckets: [{ name: 'tidewatch', configs: [] }] });
  const { port } = await server.run();
  return {
    endpoint: `http://127.0.0.1:${port}`,
    bucket: 'tidewatch',
    keyId: 'S3RVER',
    secret: 'S3RVER',
    objects: (prefix) =>
      readdirSync(path.join(folder, 'tidewatch'), { recursive: true, encoding: 'utf8' })
        .filter((name) => name.startsWith(prefix) && name.endsWith('_object'))
        .map((name) => path.join(folder, 'tidewatch', name)),
    // A second call finds it closed.
    stop: () => server.close().catch(() => undefined),
  };
});
