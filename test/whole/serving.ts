import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import type { ServiceEvent } from '#server/service';
import type { Workbench } from './workbench.ts';

/** What `serve --json` prints once it listens. */
export interface Listening {
  readonly deliveries: string;
  readonly sftp: { readonly port: number; readonly fingerprint: string } | null;
}

/** `tuckpoint serve` in a process of its own. */
export class Serving {
  readonly #child: ChildProcess;
  readonly events: ServiceEvent[] = [];
  listening!: Listening;
  /** What it printed besides events. */
  said = '';

  private constructor(child: ChildProcess) {
    this.#child = child;
  }

  /** Starts it, and waits until it listens. Throws with what it said when it ends instead. */
  static async start(bench: Workbench, ...options: string[]): Promise<Serving> {
    const { program, args, environment } = bench.command('--json', 'serve', '--port', '0', ...options);
    const serving = new Serving(spawn(program, args, { env: environment, stdio: 'pipe' }));
    serving.#child.stdin!.end();
    let out = '';
    let rest = '';
    serving.#child.stderr!.setEncoding('utf8').on('data', (text: string) => {
      const lines = (rest + text).split('\n');
      rest = lines.pop() ?? '';
      for (const line of lines)
        if (line.startsWith('{')) serving.events.push(JSON.parse(line) as ServiceEvent);
        else serving.said += `${line}\n`;
    });
    await new Promise<void>((resolve, reject) => {
      serving.#child.on('close', (code) => reject(new Error(`It ended with ${code}: ${out}${serving.said}`)));
      serving.#child.stdout!.setEncoding('utf8').on('data', (text: string) => {
        out += text;
        if (out.trimEnd().endsWith('}')) resolve();
      });
    });
    serving.listening = JSON.parse(out) as Listening;
    return serving;
  }

  get base(): string {
    return this.listening.deliveries;
  }

  /** The first event of a kind that also is as `so` says; waits for it. */
  async heard<K extends ServiceEvent['kind']>(
    kind: K,
    so: (event: Extract<ServiceEvent, { kind: K }>) => boolean = () => true,
  ): Promise<Extract<ServiceEvent, { kind: K }>> {
    for (;;) {
      const found = this.events.find(
        (event): event is Extract<ServiceEvent, { kind: K }> =>
          event.kind === kind && so(event as Extract<ServiceEvent, { kind: K }>),
      );
      if (found !== undefined) return found;
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  }

  /** Sends a signal, and gives its exit code or the signal that ended it. */
  async end(signal: NodeJS.Signals = 'SIGTERM'): Promise<number | NodeJS.Signals> {
    if (this.#child.exitCode !== null || this.#child.signalCode !== null)
      return this.#child.exitCode ?? this.#child.signalCode!;
    const closed = once(this.#child, 'close');
    this.#child.kill(signal);
    const [code, by] = (await closed) as [number | null, NodeJS.Signals | null];
    return code ?? by!;
  }

  send(signal: NodeJS.Signals): void {
    this.#child.kill(signal);
  }
}

/** What curl got: the status and the body of the answer. Status 0: there was none. */
export interface Got {
  readonly status: number;
  readonly body: string;
  /** As JSON: name -> values. */
  readonly headers: string;
}

/** curl as the device. */
export async function curl(...args: string[]): Promise<Got> {
  const write = '\n%{http_code}%{stderr}%{header_json}';
  const child = spawn('curl', ['-sS', '-w', write, '--path-as-is', ...args]);
  let out = '';
  let headers = '';
  child.stdout.on('data', (data: Buffer) => {
    out += String(data);
  });
  child.stderr.on('data', (data: Buffer) => {
    headers += String(data);
  });
  await once(child, 'close');
  const at = out.lastIndexOf('\n');
  return { status: Number(out.slice(at + 1)), body: out.slice(0, at), headers };
}
