/** Where commands write: text for a person on the terminal, or one JSON document for a program. */
export interface Output {
  /** True with --json: `result` then prints JSON, and `line` and `progress` are silent. */
  readonly json: boolean;
  /** The result of a command: `text` for a person, `data` for a program. */
  result(data: unknown, text: string): void;
  /** A line for a person on standard output. */
  line(text: string): void;
  /** Progress of long work, rewritten in place on a terminal; nothing elsewhere. */
  progress(text: string): void;
  /** A warning on standard error, also with --json. */
  warn(text: string): void;
}

export function terminalOutput(json: boolean): Output {
  let open = false;
  const settle = () => {
    if (open) process.stderr.write('\r\u001b[K');
    open = false;
  };
  return {
    json,
    result(data, text) {
      settle();
      process.stdout.write(json ? `${toJsonText(data)}\n` : text.endsWith('\n') ? text : `${text}\n`);
    },
    line(text) {
      settle();
      if (!json) process.stdout.write(`${text}\n`);
    },
    progress(text) {
      if (json) return;
      if (!process.stderr.isTTY) return;
      process.stderr.write(`\r\u001b[K${text}`);
      open = true;
    },
    warn(text) {
      settle();
      process.stderr.write(`${text}\n`);
    },
  };
}

/** JSON for programs: whole numbers too large for a double are written as decimal strings. */
function toJsonText(data: unknown): string {
  return JSON.stringify(data, (_key, v: unknown) => (typeof v === 'bigint' ? v.toString() : v), 2);
}
