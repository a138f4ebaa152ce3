/**
 * Where a replica stands: named files, nothing more. Names are parts of letters, digits, `.`, `-`, `_`, joined by `/`.
 * Every call may be repeated. All throw `archive/replica` when the place cannot be reached or refuses.
 */
export interface ReplicaStore {
  /** As the user knows it; for messages and for telling replicas apart. */
  readonly where: string;
  /** Every file: name -> size in bytes. */
  list(): Promise<ReadonlyMap<string, number>>;
  /** The bytes of a file, or null when there is none. */
  read(name: string): Promise<Uint8Array | null>;
  /** Writes the whole file or none of it; replaces one of that name. */
  write(name: string, bytes: Uint8Array): Promise<void>;
  /** A file that is not there is no error. */
  remove(name: string): Promise<void>;
}

/** A replica that is only remembered, for tests and for trying things. */
export function memoryStore(where = 'memory'): ReplicaStore {
  const files = new Map<string, Uint8Array>();
  return {
    where,
    list: async () => new Map([...files].map(([name, bytes]) => [name, bytes.length])),
    read: async (name) => files.get(name)?.slice() ?? null,
    write: async (name, bytes) => void files.set(name, bytes.slice()),
    remove: async (name) => void files.delete(name),
  };
}
