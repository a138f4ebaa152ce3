import { once } from 'node:events';
import { connect as connectTcp, type Socket } from 'node:net';
import { Client, type ConnectConfig, type ServerHostKeyAlgorithm } from 'ssh2';
import { linkError } from '../errors.ts';
import { algorithmsFor, fingerprintOf, isPinned } from './host-key.ts';

export interface SshTarget {
  /** What the user calls the device, for messages. */
  readonly name: string;
  readonly address: string;
  readonly port: number;
  readonly user: string;
  /** Pinned host key (`ssh-ed25519 SHA256:…`), or null before the first connection. */
  readonly hostKey: string | null;
}

export interface SshSecrets {
  /** A private key as OpenSSH or PEM text. */
  readonly privateKey?: string;
  readonly passphrase?: string;
  readonly password?: string;
}

/** Called with the host key at the first connection, before anything secret is sent; resolves once it is kept. */
export type PinHostKey = (fingerprint: string) => Promise<void>;

/** An SSH connection that stands. */
export interface SshConnection {
  readonly client: Client;
  /** The workbench's own address as the device sees it (unless addresses are translated between them). */
  readonly localAddress: string;
  readonly open: boolean;
  /** Why it ended, once it ended. */
  readonly ended: Error | null;
  /** Rejects with `links/closed` when the connection ends before `work` does. */
  guard<T>(work: Promise<T>): Promise<T>;
  close(): void;
}

/** A connection without life signs for this long is dead (three unanswered keepalives). */
const KEEPALIVE_SECONDS = 5;
/** A device that answers at all opens a TCP connection within this; one that boots is asked again the sooner. */
const CONNECT_SECONDS = 5;

/**
 * Connects and logs in.
 *
 * @throws TuckpointError `links/unreachable`, `links/auth`, `links/host-key-changed`, `links/no-common-algorithm`, `links/timeout`.
 */
export async function connectSsh(
  target: SshTarget,
  secrets: SshSecrets,
  pin: PinHostKey,
  timeoutSeconds: number,
): Promise<SshConnection> {
  const socket = await connectSocket(target, Math.min(timeoutSeconds, CONNECT_SECONDS));
  const localAddress = (socket.localAddress ?? '').replace(/^::ffff:/u, '');
  const client = new Client();
  // ssh2 may emit further errors after the first; an error that nobody hears would end the process.
  client.on('error', () => undefined);
  let pinned = target.hostKey;
  let changed: string | null = null;
  let pinFailed: unknown = null;
  const algorithms = pinned === null ? null : algorithmsFor(pinned);

  const config: ConnectConfig = {
    sock: socket,
    username: target.user,
    readyTimeout: timeoutSeconds * 1000,
    keepaliveInterval: KEEPALIVE_SECONDS * 1000,
    keepaliveCountMax: 3,
    tryKeyboard: secrets.password !== undefined,
    ...(secrets.privateKey === undefined ? {} : { privateKey: secrets.privateKey }),
    ...(secrets.passphrase === undefined ? {} : { passphrase: secrets.passphrase }),
    ...(secrets.password === undefined ? {} : { password: secrets.password }),
    ...(algorithms === null ? {} : { algorithms: { serverHostKey: algorithms as ServerHostKeyAlgorithm[] } }),
    hostVerifier: (key: Buffer, verify: (accepted: boolean) => void) => {
      const shown = fingerprintOf(key);
      if (pinned !== null) {
        if (!isPinned(pinned, shown)) changed = shown;
        verify(changed === null);
        return;
      }
      pin(shown).then(
        () => {
          pinned = shown;
          verify(true);
        },
        (error: unknown) => {
          pinFailed = error;
          verify(false);
        },
      );
    },
  };

  try {
    await new Promise<void>((resolve, reject) => {
      client.once('ready', resolve);
      client.once('error', reject);
      client.once('close', () => reject(new Error('the connection was closed during login')));
      client.on('keyboard-interactive', (_name, _instructions, _language, prompts, finish) =>
        finish(prompts.map((prompt) => (prompt.echo ? '' : (secrets.password ?? '')))),
      );
      try {
        client.connect(config);
      } catch (error) {
        // ssh2 reads the private key here.
        reject(error instanceof Error ? Object.assign(error, { level: 'key' }) : error);
      }
    });
  } catch (error) {
    client.destroy();
    socket.destroy();
    if (pinFailed !== null) throw pinFailed;
    throw loginError(target, error as Error & { level?: string }, changed, secrets);
  }
  return standing(target, client, localAddress);
}

async function connectSocket(target: SshTarget, timeoutSeconds: number): Promise<Socket> {
  const socket = connectTcp({ host: target.address, port: target.port });
  try {
    await once(socket, 'connect', { signal: AbortSignal.timeout(timeoutSeconds * 1000) });
  } catch (cause) {
    socket.destroy();
    socket.on('error', () => undefined);
    const why = {
      ECONNREFUSED: 'the port is closed',
      ENOTFOUND: 'the name is not known',
      EAI_AGAIN: 'the name is not known',
    }[(cause as NodeJS.ErrnoException).code ?? ''];
    throw unreachable(target, why ?? 'nothing answers', cause);
  }
  socket.setNoDelay(true);
  return socket;
}

function unreachable(target: SshTarget, why: string, cause: unknown) {
  return linkError('links/unreachable', `${target.name} cannot be reached at ${place(target)}: ${why}.`, {
    cause,
  });
}

const place = (target: SshTarget) =>
  target.address.includes(':') ? `[${target.address}]:${target.port}` : `${target.address}:${target.port}`;

/** ssh2 tells errors apart by `level` and text only. */
function loginError(
  target: SshTarget,
  error: Error & { level?: string },
  changed: string | null,
  secrets: SshSecrets,
) {
  const noHostKeyInCommon = /no matching host key format/iu.test(error.message);
  if (changed !== null || (target.hostKey !== null && noHostKeyInCommon)) {
    return linkError(
      'links/host-key-changed',
      `${target.name} shows another host key than before: pinned is ${target.hostKey}, now it shows ${changed ?? 'none of that type'}.`,
      {
        advice: `Make sure by another way why it changed; only then forget the old key with "tuckpoint device forget-host-key ${target.name}".`,
      },
    );
  }
  if (error.level === 'key' || /privateKey|passphrase/u.test(error.message)) {
    return linkError(
      'links/auth',
      `The private key for ${target.name} cannot be used: ${keyProblem(error.message)}.`,
    );
  }
  if (error.level === 'client-authentication') {
    const tried = [secrets.privateKey && 'a key', secrets.password && 'a password']
      .filter(Boolean)
      .join(' and ');
    return linkError(
      'links/auth',
      `${target.name} does not let user "${target.user}" in (offered: ${tried === '' ? 'neither key nor password' : tried}).`,
    );
  }
  if (/no matching/iu.test(error.message)) {
    return linkError(
      'links/no-common-algorithm',
      `${target.name} and the workbench agree on no SSH algorithm: ${error.message}.`,
    );
  }
  if (/timed out/iu.test(error.message))
    return unreachable(target, 'the SSH login did not finish in time', error);
  return unreachable(target, 'it ended the connection before the login', error);
}

/** The parser's text may quote nothing of the key, so only its kind is told. */
function keyProblem(message: string): string {
  if (/passphrase/iu.test(message)) return 'it is encrypted and the passphrase is missing or wrong';
  return 'it is in no known format or damaged';
}

function standing(target: SshTarget, client: Client, localAddress: string): SshConnection {
  let ended: Error | null = null;
  const onEnd = new Set<(error: Error) => void>();
  const end = (cause?: Error) => {
    if (ended !== null) return;
    ended = linkError(
      'links/closed',
      `${target.name} ended the connection.`,
      cause === undefined ? {} : { cause },
    );
    for (const reject of onEnd) reject(ended);
    onEnd.clear();
  };
  client.on('error', end);
  client.on('close', () => end());
  return {
    client,
    localAddress,
    get open() {
      return ended === null;
    },
    get ended() {
      return ended;
    },
    guard(work) {
      if (ended !== null) {
        work.catch(() => undefined);
        return Promise.reject(ended);
      }
      return new Promise((resolve, reject) => {
        onEnd.add(reject);
        work.then(resolve, reject).finally(() => onEnd.delete(reject));
      });
    },
    close() {
      client.end();
      client.destroy();
      end();
    },
  };
}
