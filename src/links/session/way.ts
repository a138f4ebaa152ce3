import type { NamedFile, Progress } from '../port/index.ts';
import type { Session } from './session.ts';

/** Moving files to and from a device, by one protocol. Each throws `TuckpointError`. */
interface Files {
  sendFile(
    local: string,
    remote: string,
    size: number,
    stallSeconds: number,
    progress?: Progress,
  ): Promise<void>;
  sendBytes(remote: string, bytes: Uint8Array, stallSeconds: number): Promise<void>;
  readFolder(folder: string, wanted: (name: string) => boolean, stallSeconds: number): Promise<NamedFile[]>;
}

/** Files where the protocol can also prepare the folder. */
interface FolderFiles extends Files {
  makeFolder(folder: string): Promise<void>;
  emptyFolder(folder: string): Promise<void>;
}

/** What the device may pull over HTTP. */
export type Offered = { readonly path: string; readonly size: number } | { readonly bytes: Uint8Array };

/** An opened way to a device: what a handbook's actions are carried out with. */
export interface Way {
  readonly session: Session;
  readonly sftp: FolderFiles;
  readonly scp: Files;
  /** Offers one thing at a URL that the device can reach, while `pull` runs. */
  offer<T>(
    name: string,
    offered: Offered,
    pull: (url: string) => Promise<T>,
    progress?: Progress,
  ): Promise<T>;
  close(): void;
}
