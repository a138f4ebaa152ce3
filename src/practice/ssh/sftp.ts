import { closeSync, openSync, readSync, writeSync } from 'node:fs';
import ssh2, { type Attributes, type SFTPWrapper } from 'ssh2';
import type { PracticeDevice } from '../device/practice-device.ts';
import { type Entry, Places } from './places.ts';

const { OPEN_MODE, STATUS_CODE } = ssh2.utils.sftp;

type Handle =
  | { readonly kind: 'folder'; readonly path: string; names: readonly string[] }
  | { readonly kind: 'bytes'; readonly bytes: Uint8Array }
  | {
      readonly kind: 'file';
      readonly path: string;
      readonly file: number;
      written: number;
      readonly free: number;
    };

/** Serves the device's file tree over SFTP (draft-ietf-secsh-filexfer-02, the version in general use). */
export function serveSftp(device: PracticeDevice, sftp: SFTPWrapper): void {
  const places = new Places(device);
  const handles = new Map<number, Handle>();
  let count = 0;
  const open = (handle: Handle): Buffer => {
    const name = Buffer.alloc(4);
    name.writeUInt32BE(++count);
    handles.set(count, handle);
    return name;
  };
  const handleOf = (name: Buffer): Handle | undefined =>
    name.length === 4 ? handles.get(name.readUInt32BE()) : undefined;
  /** Answers with the status the work returns; whatever it throws is a failure, told in words. */
  const status = (id: number, work: () => boolean) => {
    try {
      sftp.status(id, work() ? STATUS_CODE.OK : STATUS_CODE.PERMISSION_DENIED);
    } catch (error) {
      const absent = (error as NodeJS.ErrnoException).code === 'ENOENT';
      sftp.status(id, absent ? STATUS_CODE.NO_SUCH_FILE : STATUS_CODE.FAILURE, (error as Error).message);
    }
  };
  const stat = (id: number, path: string) => {
    const entry = places.at(path);
    if (entry === null) sftp.status(id, STATUS_CODE.NO_SUCH_FILE);
    else sftp.attrs(id, attributes(entry, device));
  };

  sftp.on('REALPATH', (id, path) => {
    const plain = places.plain(path);
    sftp.name(id, [{ filename: plain, longname: plain, attrs: {} as Attributes }]);
  });
  sftp.on('STAT', stat);
  sftp.on('LSTAT', stat);
  sftp.on('FSTAT', (id, name) => {
    const handle = handleOf(name);
    const entry = handle === undefined ? null : handle.kind === 'bytes' ? handle : places.at(handle.path);
    if (entry === null) sftp.status(id, STATUS_CODE.FAILURE);
    else sftp.attrs(id, attributes(entry, device));
  });
  sftp.on('SETSTAT', (id) => sftp.status(id, STATUS_CODE.OK));
  sftp.on('FSETSTAT', (id) => sftp.status(id, STATUS_CODE.OK));

  sftp.on('OPENDIR', (id, path) => {
    const entry = places.at(path);
    if (entry?.kind !== 'folder') return sftp.status(id, STATUS_CODE.NO_SUCH_FILE);
    sftp.handle(id, open({ kind: 'folder', path: places.plain(path), names: entry.names }));
  });
  sftp.on('READDIR', (id, name) => {
    const handle = handleOf(name);
    if (handle?.kind !== 'folder') return sftp.status(id, STATUS_CODE.FAILURE);
    const { names, path } = handle;
    handle.names = [];
    if (names.length === 0) return sftp.status(id, STATUS_CODE.EOF);
    const list = names.flatMap((filename) => {
      const entry = places.at(`${path}/${filename}`);
      if (entry === null) return [];
      const attrs = attributes(entry, device);
      const kind = entry.kind === 'folder' ? 'drwxr-xr-x' : '-rw-r--r--';
      return [{ filename, longname: `${kind} 1 keeper keeper ${attrs.size} ${filename}`, attrs }];
    });
    sftp.name(id, list);
  });

  sftp.on('OPEN', (id, path, flags) => {
    const writing = (flags & (OPEN_MODE.WRITE | OPEN_MODE.APPEND)) !== 0;
    if (!writing) {
      const entry = places.at(path);
      if (entry === null || entry.kind === 'folder') return sftp.status(id, STATUS_CODE.NO_SUCH_FILE);
      if (entry.kind === 'bytes') return sftp.handle(id, open(entry));
    }
    const place = places.writable(path);
    if (place === null)
      return sftp.status(id, STATUS_CODE.PERMISSION_DENIED, 'files are put in /incoming only');
    try {
      const file = openSync(place, writing ? systemFlags(flags) : 'r', 0o600);
      sftp.handle(
        id,
        open({ kind: 'file', path: places.plain(path), file, written: 0, free: device.operations.freeBytes }),
      );
    } catch (error) {
      const absent = (error as NodeJS.ErrnoException).code === 'ENOENT';
      sftp.status(id, absent ? STATUS_CODE.NO_SUCH_FILE : STATUS_CODE.FAILURE, (error as Error).message);
    }
  });
  sftp.on('READ', (id, name, offset, length) => {
    const handle = handleOf(name);
    if (handle === undefined || handle.kind === 'folder') return sftp.status(id, STATUS_CODE.FAILURE);
    const bytes =
      handle.kind === 'bytes'
        ? handle.bytes.subarray(offset, offset + length)
        : readAt(handle.file, offset, length);
    if (bytes.length === 0) sftp.status(id, STATUS_CODE.EOF);
    else sftp.data(id, Buffer.from(bytes));
  });
  sftp.on('WRITE', (id, name, offset, data) => {
    const handle = handleOf(name);
    if (handle?.kind !== 'file') return sftp.status(id, STATUS_CODE.FAILURE);
    const hang = device.machine.faults.find((fault) => fault.kind === 'hangs-in-transfer');
    if (hang !== undefined && offset + data.length > hang.afterBytes) return;
    handle.written += data.length;
    if (handle.written > handle.free || device.operations.freeBytes === 0) {
      return sftp.status(id, STATUS_CODE.FAILURE, 'no space left');
    }
    status(id, () => {
      for (let at = 0; at < data.length; )
        at += writeSync(handle.file, data, at, data.length - at, offset + at);
      return true;
    });
  });
  sftp.on('CLOSE', (id, name) => {
    const handle = handleOf(name);
    if (handle?.kind === 'file') closeSync(handle.file);
    if (handle !== undefined) handles.delete(name.readUInt32BE());
    sftp.status(id, handle === undefined ? STATUS_CODE.FAILURE : STATUS_CODE.OK);
  });

  sftp.on('MKDIR', (id, path) => status(id, () => places.makeFolder(path)));
  sftp.on('RMDIR', (id, path) => status(id, () => places.remove(path, 'folder')));
  sftp.on('REMOVE', (id, path) => status(id, () => places.remove(path, 'file')));
  sftp.on('RENAME', (id, from, to) => status(id, () => places.rename(from, to)));
  const end = () => {
    for (const handle of handles.values()) if (handle.kind === 'file') closeSync(handle.file);
    handles.clear();
  };
  sftp.on('close', end);
  // The other side has said its last: answer by closing the channel, or OpenSSH's sftp waits for ever.
  sftp.on('end', () => {
    end();
    sayWell(sftp);
    sftp.end();
  });
}

function readAt(file: number, offset: number, length: number): Uint8Array {
  const bytes = Buffer.alloc(Math.min(length, 256 * 1024));
  return bytes.subarray(0, readSync(file, bytes, 0, bytes.length, offset));
}

/** Open flags as the system has them (section 6.3 of the draft). */
function systemFlags(flags: number): string {
  if ((flags & OPEN_MODE.APPEND) !== 0) return 'a+';
  if ((flags & OPEN_MODE.EXCL) !== 0) return 'wx+';
  return (flags & OPEN_MODE.TRUNC) !== 0 ? 'w+' : (flags & OPEN_MODE.CREAT) !== 0 ? 'a+' : 'r+';
}

function attributes(entry: Entry, device: PracticeDevice): Attributes {
  const size = entry.kind === 'folder' ? 0 : entry.kind === 'bytes' ? entry.bytes.length : entry.size;
  const time = Math.floor(device.machine.state.bootedAt / 1000);
  return {
    mode: entry.kind === 'folder' ? 0o040755 : 0o100644,
    uid: 0,
    gid: 0,
    size,
    atime: time,
    mtime: time,
  };
}

/**
 * Exit status 0 (RFC 4254 section 6.10), without which OpenSSH's scp counts a copy as failed. ssh2 offers it for
 * shells only, so this reaches for the call that it uses there; where that is gone nothing is sent.
 */
function sayWell(sftp: SFTPWrapper): void {
  const { _protocol: protocol, outgoing } = sftp as unknown as {
    _protocol?: { exitStatus?(channel: number, status: number): void };
    outgoing?: { id: number };
  };
  if (outgoing !== undefined) protocol?.exitStatus?.(outgoing.id, 0);
}
