import type { Server } from 'node:http';
import { createServer as createTlsServer, type Server as TlsServer } from 'node:https';
import type { AddressInfo } from 'node:net';
import { createAdaptorServer } from '@hono/node-server';
import { TuckpointError } from '#core/errors';

/** A certificate chain and its private key, PEM. */
export interface Certificate {
  readonly cert: string;
  readonly key: string;
}

export interface HttpDoor {
  readonly port: number;
  /** Takes another certificate for the connections to come. Throws `server/bad-certificate`. */
  renew(certificate: Certificate): void;
  /** Hears nobody new; who is speaking has `graceMs` to end. Resolves when every answer is done. */
  close(graceMs: number): Promise<void>;
}

/** Connections at once. */
const MOST = 256;

type Fetch = (request: Request, ...rest: never[]) => Response | Promise<Response>;

/** Listens for HTTP, or HTTPS where there is a certificate. Throws `server/cannot-listen`, `server/bad-certificate`. */
export async function openHttp(
  fetch: Fetch,
  where: { readonly host: string; readonly port: number },
  certificate: Certificate | null,
): Promise<HttpDoor> {
  const answering = new Set<Promise<unknown>>();
  const tracked = (request: Request, ...rest: never[]) => {
    const answer = Promise.resolve(fetch(request, ...rest)).finally(() => answering.delete(answer));
    answering.add(answer);
    return answer;
  };
  const server = createAdaptorServer({
    fetch: tracked as never,
    ...(certificate === null ? {} : { createServer: createTlsServer, serverOptions: sound(certificate) }),
  }) as Server;
  server.maxConnections = MOST;
  await listening(server, where);
  return {
    port: (server.address() as AddressInfo).port,
    renew(next) {
      if (certificate !== null) (server as unknown as TlsServer).setSecureContext(sound(next));
    },
    async close(graceMs) {
      const closed = new Promise<void>((done) => server.close(() => done()));
      server.closeIdleConnections();
      const cut = setTimeout(() => server.closeAllConnections(), graceMs);
      await closed;
      clearTimeout(cut);
      await Promise.allSettled(answering);
    },
  };
}

/** The certificate, if key and chain belong together and can be read. */
function sound(certificate: Certificate): Certificate {
  try {
    createTlsServer(certificate).close();
    return certificate;
  } catch (cause) {
    throw new TuckpointError(
      'server/bad-certificate',
      `The certificate and its key cannot be used: ${(cause as Error).message}.`,
      { advice: 'Both are PEM files, the key unencrypted and the one the certificate was made for.', cause },
    );
  }
}

/** Throws `server/cannot-listen`. */
async function listening(
  server: Server,
  { host, port }: { readonly host: string; readonly port: number },
): Promise<void> {
  await new Promise<void>((resolve, reject) => {
    server.once('error', (cause) => reject(cannotListen(host, port, cause)));
    server.listen(port, host, () => resolve());
  });
}

export function cannotListen(host: string, port: number, cause: unknown): TuckpointError {
  const code = (cause as NodeJS.ErrnoException).code ?? String(cause);
  return new TuckpointError('server/cannot-listen', `Cannot listen on port ${port} of ${host} (${code}).`, {
    advice:
      code === 'EADDRINUSE'
        ? 'Something else listens there; choose another port.'
        : 'Choose an address of this machine, and a port that you may use.',
    cause,
  });
}
