import { type AddressInfo, createServer } from 'node:net';
import ssh2, { type AuthContext, type SFTPWrapper } from 'ssh2';
import type { Archive, CaptureFile, CaptureRecord } from '#archive';
import { TuckpointError } from '#core/errors';
import { toldOutside } from '../intake/routes.ts';
import { tokenDigest } from '../intake/token.ts';
import { WrongTokens } from '../intake/wrong-tokens.ts';
import { Callers } from './callers.ts';
import { bytesDigest } from './keys.ts';
import { SessionFiles } from './session-files.ts';

const { Server, utils } = ssh2;
const { OPEN_MODE, STATUS_CODE } = utils.sftp;

export interface DropOptions {
  readonly archive: Pick<Archive, 'put'>;
  /** The device whose delivery token has this digest, or null. The password of the session is the token; any user name. */
  deviceWith(tokenDigest: string): Promise<string | null>;
  /** The device whose SSH public key has this digest (SHA-256 of its bytes, hex: see `keyDigest`), or null. */
  deviceWithKey?(keyDigest: string): Promise<string | null>;
  /** Private host key, OpenSSH or PEM. */
  readonly hostKey: string;
  readonly now?: () => Date;
  /** Bytes one session may hold at once. */
  readonly limit?: number;
  readonly delivered?: (record: CaptureRecord) => Promise<void> | void;
  readonly refused?: (device: string, error: TuckpointError) => Promise<void> | void;
  /** Told of every wrong token. */
  readonly denied?: (address: string) => void;
}

/** The listening drop. */
export interface Drop {
  readonly port: number;
  /** Ends every session. Files that are whole are still stored; of others nothing is. */
  close(): Promise<void>;
}

/** How long one session may last once it is signed in, in milliseconds. */
const LONGEST = 15 * 60_000;
/** How long what is under way may take to end when the drop closes, in milliseconds. */
const GRACE = 2_000;

/**
 * An SFTP server that only takes files (draft-ietf-secsh-filexfer-02, the version in use): each file closed (or
 * renamed from a provisional name) is one capture, and the close is answered when it is on disk, synced and read
 * back. Nothing can be read or listed; there is no shell. A session that ends before a close leaves nothing.
 */
export function openDrop(options: DropOptions, port: number, host: string): Promise<Drop> {
  const wrong = new WrongTokens();
  const callers = new Callers();
  const storing = new Set<Promise<unknown>>();
  const server = new Server({ hostKeys: [options.hostKey], ident: 'drop' }, (connection, info) => {
    let device: string | null = null;
    connection.on('error', () => undefined); // a peer that breaks the protocol or goes away: the close follows
    connection.on('authentication', (context) => {
      identify(options, wrong, context, info.ip).then(
        (found) => {
          device = found;
          if (found === null) context.reject(['publickey', 'password']);
          else context.accept();
        },
        () => context.reject(),
      );
    });
    connection.on('ready', () => callers.allow(info, LONGEST));
    connection.on('session', (accept) => {
      accept().on('sftp', (acceptSftp) => takeFiles(options, device!, acceptSftp(), storing));
    });
  });
  const listener = createServer((socket) => {
    if (callers.take(socket)) server.injectSocket(socket);
    else socket.destroy();
  });
  return new Promise((resolve, reject) => {
    listener.on('error', reject);
    listener.listen(port, host, () =>
      resolve({
        port: (listener.address() as AddressInfo).port,
        async close() {
          const closed = new Promise<void>((done) => listener.close(() => done()));
          await callers.leave(GRACE);
          await closed;
          await Promise.allSettled(storing);
        },
      }),
    );
  });
}

/** The device that a session's key or password stands for, or null. */
async function identify(
  options: DropOptions,
  wrong: WrongTokens,
  context: AuthContext,
  address: string,
): Promise<string | null> {
  if (context.method === 'none') return null;
  if (wrong.closedFor(address, performance.now()) > 0) return null;
  let device: string | null = null;
  if (context.method === 'password') device = await options.deviceWith(tokenDigest(context.password));
  else if (context.method === 'publickey') {
    device = (await options.deviceWithKey?.(bytesDigest(context.key.data))) ?? null;
    const key = utils.parseKey(
      Buffer.concat([Buffer.from(`${context.key.algo} `), Buffer.from(context.key.data.toString('base64'))]),
    );
    if (device !== null && context.signature !== undefined) {
      const proven =
        !(key instanceof Error) && key.verify(context.blob!, context.signature, context.hashAlgo) === true;
      if (!proven) device = null;
    }
  }
  // Clients offer several keys in turn, so an unknown key is no guess at a secret.
  if (device === null && context.method === 'password') {
    wrong.note(address, performance.now());
    options.denied?.(address);
  }
  return device;
}

/** `storing` holds what is being stored, until it is. */
function takeFiles(
  options: DropOptions,
  device: string,
  sftp: SFTPWrapper,
  storing: Set<Promise<unknown>>,
): void {
  const { archive, now = () => new Date(), limit = 64 * 1024 * 1024 } = options;
  const files = new SessionFiles(limit);
  const handleOf = (buffer: Buffer) => (buffer.length === 4 ? buffer.readUInt32BE() : 0);

  async function store(file: CaptureFile): Promise<void> {
    const taken = {
      device,
      at: now().toISOString(),
      source: 'delivery',
      release: null,
      slot: null,
      run: null,
    } as const;
    const stored = archive
      .put({ ...taken, files: [file] })
      .then((record) => options.delivered?.(record))
      .finally(() => storing.delete(stored));
    storing.add(stored);
    await stored;
  }
  /** Does the work and answers: all went well, or one sentence why not. */
  async function answer(request: number, work: () => Promise<void> | void): Promise<void> {
    try {
      await work();
      sftp.status(request, STATUS_CODE.OK);
    } catch (error) {
      const known = error instanceof TuckpointError ? error : null;
      if (known !== null) await options.refused?.(device, known);
      sftp.status(
        request,
        STATUS_CODE.FAILURE,
        known === null ? 'The workbench failed.' : toldOutside(known),
      );
    }
  }

  sftp.on('OPEN', (request, name, flags) => {
    if ((flags & OPEN_MODE.WRITE) === 0 || (flags & (OPEN_MODE.READ | OPEN_MODE.APPEND)) !== 0) {
      sftp.status(
        request,
        STATUS_CODE.PERMISSION_DENIED,
        'Files can only be written here, from their beginning.',
      );
      return;
    }
    try {
      const handle = Buffer.alloc(4);
      handle.writeUInt32BE(files.open(name));
      sftp.handle(request, handle);
    } catch (error) {
      sftp.status(
        request,
        STATUS_CODE.FAILURE,
        error instanceof TuckpointError ? toldOutside(error) : undefined,
      );
    }
  });
  sftp.on('WRITE', (request, handle, offset, bytes) => {
    if (!files.has(handleOf(handle))) sftp.status(request, STATUS_CODE.FAILURE);
    else answer(request, () => files.write(handleOf(handle), offset, bytes));
  });
  sftp.on('CLOSE', (request, handle) => {
    answer(request, async () => {
      if (!files.has(handleOf(handle))) return; // a folder's handle
      const file = files.close(handleOf(handle));
      if (file !== null) await store(file);
    });
  });
  sftp.on('RENAME', (request, from, to) => {
    answer(request, async () => {
      const file = files.rename(from, to);
      if (file === null) throw new TuckpointError('server/bad-delivery', `There is no ${from} to rename.`);
      await store(file);
    });
  });
  // What clients ask before and after a transfer, answered so that they go on; there is nothing to see.
  sftp.on('REALPATH', (request, name) => {
    const at = name === '.' || name === '' ? '/' : name;
    sftp.name(request, [{ filename: at, longname: at, attrs: {} as never }]);
  });
  const look = (request: number, name: string) => {
    const folder = /^(\.|\/|\/\.)?$/.test(name);
    if (folder) sftp.attrs(request, { mode: 0o40700, uid: 0, gid: 0, size: 0, atime: 0, mtime: 0 });
    else sftp.status(request, STATUS_CODE.NO_SUCH_FILE);
  };
  sftp.on('STAT', look);
  sftp.on('LSTAT', look);
  sftp.on('FSTAT', (request) =>
    sftp.attrs(request, { mode: 0o100600, uid: 0, gid: 0, size: 0, atime: 0, mtime: 0 }),
  );
  sftp.on('SETSTAT', (request) => sftp.status(request, STATUS_CODE.OK));
  sftp.on('FSETSTAT', (request) => sftp.status(request, STATUS_CODE.OK));
  sftp.on('MKDIR', (request) => sftp.status(request, STATUS_CODE.OK));
  sftp.on('OPENDIR', (request) => sftp.status(request, STATUS_CODE.PERMISSION_DENIED));
  for (const event of ['READ', 'READDIR', 'REMOVE', 'RMDIR', 'READLINK', 'SYMLINK'] as const)
    sftp.on(event, (request: number) => sftp.status(request, STATUS_CODE.PERMISSION_DENIED));
  const left = () => {
    for (const name of files.unfinished)
      options.refused?.(
        device,
        new TuckpointError('server/half-received', `${name} stopped before its end.`),
      );
  };
  sftp.once('end', () => {
    left();
    sftp.end(); // the peer has said its last word: close the channel, or it waits for us
  });
}
