import { appendFileSync, existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { writeDurably } from '../disk/durable.ts';

/** The device's own log: one line an event, RFC 3339 time first. A cut line at the end is dropped when read again. */
export class DeviceLog {
  private readonly file: string;
  private readonly kept: string[];

  constructor(
    folder: string,
    private readonly now: () => number,
    readonly most = 400,
  ) {
    this.file = join(folder, 'log.txt');
    const text = existsSync(this.file) ? readFileSync(this.file, 'utf8') : '';
    this.kept = text.split('\n').slice(0, -1).slice(-most);
    writeDurably(this.file, this.kept.map((line) => `${line}\n`).join(''));
  }

  say(text: string): void {
    const line = `${new Date(this.now()).toISOString()} ${text}`;
    this.kept.push(line);
    if (this.kept.length > this.most) this.kept.shift();
    appendFileSync(this.file, `${line}\n`);
  }

  get lines(): readonly string[] {
    return this.kept;
  }
}
