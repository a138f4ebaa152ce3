import { randomBytes } from 'node:crypto';
import { once } from 'node:events';
import { createReadStream } from 'node:fs';
import { createServer, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { pipeline } from 'node:stream/promises';
import { linkError } from '../errors.ts';
import type { Progress } from '../port/index.ts';
import type { Offered } from '../session/index.ts';

/**
 * Offers one thing over HTTP at an address of the workbench while `pull` runs, and stops then. The path holds 128 random
 * bits; nothing else is served.
 *
 * @throws TuckpointError `links/transfer-failed` where the address cannot be used, and what `pull` throws.
 */
export async function offerOverHttp<T>(
  address: string,
  name: string,
  offered: Offered,
  pull: (url: string) => Promise<T>,
  progress?: Progress,
): Promise<T> {
  const path = `/${randomBytes(16).toString('hex')}/${encodeURIComponent(name)}`;
  const size = 'bytes' in offered ? offered.bytes.length : offered.size;
  const server = createServer((request, response) => {
    if (request.url !== path || (request.method !== 'GET' && request.method !== 'HEAD')) {
      response.writeHead(404).end();
      return;
    }
    response.writeHead(200, { 'content-type': 'application/octet-stream', 'content-length': size });
    if (request.method === 'HEAD') response.end();
    else send(response, offered, size, progress).catch(() => response.destroy());
  });
  try {
    server.listen({ host: address, port: 0 });
    await once(server, 'listening');
  } catch (cause) {
    throw linkError('links/transfer-failed', `The workbench cannot offer files at its address ${address}.`, {
      cause,
    });
  }
  const { port } = server.address() as AddressInfo;
  const host = address.includes(':') ? `[${address}]` : address;
  try {
    return await pull(`http://${host}:${port}${path}`);
  } finally {
    server.closeAllConnections();
    server.close();
  }
}

async function send(
  response: ServerResponse,
  offered: Offered,
  size: number,
  progress?: Progress,
): Promise<void> {
  if ('bytes' in offered) {
    response.end(offered.bytes);
    return;
  }
  let done = 0;
  await pipeline(
    createReadStream(offered.path),
    async function* (chunks: AsyncIterable<Buffer>) {
      for await (const chunk of chunks) {
        yield chunk;
        done += chunk.length;
        progress?.(done, size);
      }
    },
    response,
  );
}
