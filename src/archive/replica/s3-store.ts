import { AwsClient } from 'aws4fetch';
import { sha256 } from '../digest.ts';
import { archiveError } from '../errors.ts';
import type { ReplicaStore } from './store.ts';

/** How to reach a bucket of an S3-compatible store. */
export interface S3Options {
  /** Such as `https://s3.brackwater.example`; the bucket is the first part of the path. */
  readonly endpoint: string;
  readonly bucket: string;
  /** Put before every name, such as `workbench/`. */
  readonly prefix?: string;
  readonly region?: string;
  readonly accessKeyId: string;
  readonly secretAccessKey: string;
  /** Seconds one request may take. */
  readonly timeout?: number;
}

/** The text of every `<tag>` in an XML answer. The names we list need no more of XML than its five entities. */
function tags(xml: string, tag: string): string[] {
  const entities: Record<string, string> = { lt: '<', gt: '>', amp: '&', quot: '"', apos: "'" };
  return [...xml.matchAll(new RegExp(`<${tag}>([^<]*)</${tag}>`, 'g'))].map((match) =>
    match[1]!.replace(/&(lt|gt|amp|quot|apos);/g, (_, name: string) => entities[name]!),
  );
}

/** A replica in a bucket of an S3-compatible store. Names below `prefix`; requests signed (version 4) with their digest. */
export function s3Store(options: S3Options): ReplicaStore {
  const { endpoint, bucket, prefix = '', region = 'us-east-1', timeout = 60 } = options;
  const { accessKeyId, secretAccessKey } = options;
  const client = new AwsClient({
    accessKeyId,
    secretAccessKey,
    region,
    service: 's3',
    retries: 3,
    initRetryMs: 200,
  });
  const base = `${endpoint.replace(/\/$/, '')}/${encodeURIComponent(bucket)}`;
  const where = `${base}/${prefix}`;

  async function request(method: string, url: string, body?: Uint8Array): Promise<Response> {
    const failed = (why: string, cause?: unknown) =>
      archiveError('archive/replica', `The store at ${where} ${why}.`, {
        advice: 'Check address, bucket and keys; then replicate again: it goes on where it stopped.',
        cause,
      });
    let response: Response;
    try {
      response = await client.fetch(url, {
        method,
        signal: AbortSignal.timeout(timeout * 1000),
        headers: { 'x-amz-content-sha256': sha256(body ?? new Uint8Array()) },
        ...(body === undefined ? {} : { body: body as Uint8Array<ArrayBuffer> }),
      });
    } catch (cause) {
      throw failed(
        `cannot be reached (${((cause as Error).cause as Error | undefined)?.message ?? cause})`,
        cause,
      );
    }
    if (response.ok || (response.status === 404 && method !== 'PUT')) return response;
    const [code] = tags(await response.text().catch(() => ''), 'Code');
    throw failed(`answers ${response.status}${code === undefined ? '' : ` ${code}`} to ${method}`);
  }
  const address = (name: string) => `${base}/${(prefix + name).split('/').map(encodeURIComponent).join('/')}`;

  return {
    where,
    async list() {
      const found = new Map<string, number>();
      for (let token: string | undefined; ; ) {
        const query = new URLSearchParams({ 'list-type': '2', prefix });
        if (token !== undefined) query.set('continuation-token', token);
        const response = await request('GET', `${base}?${query}`);
        if (response.status === 404)
          throw archiveError('archive/replica', `There is no bucket ${bucket} at ${endpoint}.`, {
            advice: 'Create it.',
          });
        const xml = await response.text();
        const sizes = tags(xml, 'Size');
        for (const [i, key] of tags(xml, 'Key').entries())
          found.set(key.slice(prefix.length), Number(sizes[i]));
        if (tags(xml, 'IsTruncated')[0] !== 'true') return found;
        token = tags(xml, 'NextContinuationToken')[0];
      }
    },
    async read(name) {
      const response = await request('GET', address(name));
      return response.status === 404 ? null : new Uint8Array(await response.arrayBuffer());
    },
    async write(name, bytes) {
      await request('PUT', address(name), bytes);
    },
    async remove(name) {
      await request('DELETE', address(name));
    },
  };
}
