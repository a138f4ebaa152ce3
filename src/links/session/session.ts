import type { Pattern } from '../handbook/index.ts';

/** What to type when the unfinished line matches. A secret's text must never be shown. */
export interface Reply {
  readonly pattern: Pattern;
  readonly text: string;
  readonly secret: boolean;
}

export interface Command {
  readonly text: string;
  /** Shell only: the mode to give it in; null: at the session's own prompt. */
  readonly mode: string | null;
  readonly timeoutSeconds: number;
  readonly replies: readonly Reply[];
}

export interface Output {
  /** What the device printed, unchanged (exec) or as lines that end in LF (shell). */
  readonly bytes: Uint8Array;
  readonly text: string;
  /** The device's own words where it refused; null where it did not. */
  readonly refusal: string | null;
  /** The device closed the channel before the command ended. */
  readonly closed: boolean;
}

/** Gives commands to a device and returns what it printed. Exec channels and command shells are two kinds. */
export interface Session {
  /** False once the session can give no further command. */
  readonly open: boolean;
  /** Throws `links/timeout` and the errors of the connection; a refusal and a close are in the output. */
  run(command: Command): Promise<Output>;
  close(): void;
}
