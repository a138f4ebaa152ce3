import type { Generated } from 'kysely';

/** Column types as the embedded database holds them: text, whole numbers and bytes; JSON is text. */
export interface Schema {
  device: {
    name: string;
    site: string;
    handbook: string;
    address: string;
    port: number;
    user: string;
    /** JSON: values of the device's own that its handbook names. */
    own: string;
    host_key: string | null;
    /** Sealed JSON; null when the device needs none. */
    secrets: Uint8Array | null;
    added_at: string;
  };
  run: {
    id: string;
    device: string;
    procedure: string;
    goal: string;
    state: string;
    decision: string | null;
    reason: string | null;
    facts: string;
    report: string | null;
    started_at: string;
    ended_at: string | null;
  };
  journal: {
    seq: Generated<number>;
    run: string;
    step: string;
    state: string;
    at: string;
    detail: string;
  };
  lease: {
    device: string;
    run: string;
    holder: string;
    fence: number;
    expires_at: number;
  };
  reading: {
    seq: Generated<number>;
    device: string;
    run: string | null;
    at: string;
    reading: string;
  };
  sighting: {
    device: string;
    at: string;
    sighting: string;
  };
  booted_pair: {
    device: string;
    release: string;
    configuration: string;
    at: string;
    run: string | null;
  };
  delivery_access: {
    id: string;
    device: string;
    kind: string;
    /** SHA-256, hex, of the token; or of the public SSH key. */
    digest: string;
    added_at: string;
    used_at: string | null;
  };
  expectation: {
    device: string;
    rule: string;
    zone: string;
    start: string;
    grace_seconds: number;
    set_at: string;
  };
  schedule: {
    name: string;
    rule: string;
    zone: string;
    start: string;
    set_at: string;
    done_at: string | null;
  };
  service_secret: { name: string; sealed: Uint8Array };
  planned_files: {
    run: string;
    /** Sealed: the files that a run which has not ended is to bring onto its device. */
    files: Uint8Array;
  };
}
