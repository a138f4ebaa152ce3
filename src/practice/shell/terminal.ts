import type { Duplex } from 'node:stream';

/** Thrown into whoever waits for input when the session ends. */
export class Ended extends Error {}

const PAGE = 24;
const MORE = '[more: space goes on, q stops]';

/**
 * One terminal: line editing with echo, secret input, a pager after 24 lines. Without a PTY (`interactive` false)
 * nothing is echoed or paged and lines end in LF.
 */
export class Terminal {
  private readonly typed: string[] = [];
  private wake: (() => void) | null = null;
  private ended = false;
  private afterReturn = false;

  constructor(
    private readonly stream: Duplex,
    private readonly interactive: boolean,
  ) {
    stream.on('data', (bytes: Buffer) => {
      this.typed.push(...bytes.toString('utf8'));
      this.wake?.();
    });
    const end = () => {
      this.ended = true;
      this.wake?.();
    };
    stream.on('end', end).on('close', end).on('error', end);
  }

  write(text: string): void {
    if (this.stream.writable) this.stream.write(this.interactive ? text.replace(/\n/g, '\r\n') : text);
  }

  /** Prints lines, stopping after every page. */
  async page(lines: readonly string[]): Promise<void> {
    for (let at = 0; at < lines.length; at += PAGE) {
      this.write(`${lines.slice(at, at + PAGE).join('\n')}\n`);
      if (!this.interactive || at + PAGE >= lines.length) continue;
      this.write(MORE);
      let key = await this.key();
      while (key !== ' ' && key !== 'q') key = await this.key();
      this.write(`\r${' '.repeat(MORE.length)}\r`);
      if (key === 'q') return;
    }
  }

  /** Prompts and reads a line. Ctrl-C gives an empty one; Ctrl-D on an empty line ends the session. */
  async line(prompt: string, secret = false): Promise<string> {
    this.write(prompt);
    let line = '';
    for (;;) {
      const key = await this.key();
      const byReturn = this.afterReturn;
      this.afterReturn = key === '\r';
      if (key === '\n' && byReturn) continue;
      if (key === '\r' || key === '\n') {
        this.echo('\n');
        return line;
      }
      if (key === '\x03') {
        this.echo('^C\n');
        return '';
      }
      if (key === '\x04' && line === '') throw new Ended();
      if (key === '\x7f' || key === '\b') {
        if (line !== '' && !secret) this.echo('\b \b');
        line = line.slice(0, -1);
      } else if (key === '\x15') {
        if (!secret) this.echo('\b \b'.repeat(line.length));
        line = '';
      } else if (key >= ' ') {
        line += key;
        if (!secret) this.echo(key);
      }
    }
  }

  private echo(text: string): void {
    if (this.interactive) this.write(text);
  }

  private async key(): Promise<string> {
    for (;;) {
      const key = this.typed.shift();
      if (key !== undefined) return key;
      if (this.ended) throw new Ended();
      await new Promise<void>((wake) => {
        this.wake = wake;
      });
      this.wake = null;
    }
  }
}
