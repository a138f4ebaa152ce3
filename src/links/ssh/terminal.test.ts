import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Terminal } from './terminal.ts';

function shown(...writes: string[]): { lines: readonly string[]; unfinished: string } {
  const terminal = new Terminal();
  for (const text of writes) terminal.write(text);
  return { lines: terminal.lines, unfinished: terminal.unfinished };
}

/** What a terminal does is said by ECMA-48 (escape sequences) and by ASCII (CR, BS, LF). */
describe('a terminal', () => {
  it('shows lines without their ends, blanks at the ends of lines included', () => {
    expect(shown('one\r\n two  \r\n\r\nfw1 ~ ')).toEqual({
      lines: ['one', ' two  ', ''],
      unfinished: 'fw1 ~ ',
    });
  });

  it('hides colours, titles and cursor modes', () => {
    expect(shown('\u001b[1;32mfw1\u001b[0m ~ ').unfinished).toBe('fw1 ~ ');
    expect(shown('\u001b]0;title\u0007fw1').unfinished).toBe('fw1');
    expect(shown('\u001b[?2004h\u001b=\u001b(Bfw1').unfinished).toBe('fw1');
  });

  it('overwrites after a carriage return, steps back at a backspace, erases to the end of the line', () => {
    expect(shown('12345\rab').unfinished).toBe('ab345');
    expect(shown('abc\b\bX').unfinished).toBe('aXc');
    expect(shown('12345\rab\u001b[K').unfinished).toBe('ab');
    expect(shown('12345\u001b[2K\rab').unfinished).toBe('ab');
  });

  it('reads the same however the bytes are cut in transit', () => {
    const text = '\u001b[1mfw1\u001b[0m ~ tell\b\b\b\bshow\r\n\u001b]0;t\u0007\tx \r\u001b[Ky\r\n';
    fc.assert(
      fc.property(fc.array(fc.nat(text.length), { maxLength: 6 }), (cuts) => {
        const at = [0, ...cuts.sort((a, b) => a - b), text.length];
        const pieces = at.slice(1).map((end, i) => text.slice(at[i], end));
        expect(shown(...pieces)).toEqual(shown(text));
      }),
    );
  });

  // The ways in which a pager's line goes away, as common programs do it: erased by a sequence (less), overwritten by blanks
  // (many devices), stepped back over (older ones), or left where it stands.
  it.each([
    ['erased', '\r\u001b[K'],
    ['overwritten by blanks', `\r${' '.repeat(10)}\r`],
    ['stepped back over', `${'\b'.repeat(10)}${' '.repeat(10)}${'\b'.repeat(10)}`],
    ['followed by a line end', '\r\n'],
    ['left, with the text behind it', ''],
  ])('keeps no trace of a pager that is %s', (_, wiping) => {
    const terminal = new Terminal();
    terminal.write('one\r\n[more ...]');
    expect(terminal.unfinished).toBe('[more ...]');
    terminal.dropUnfinished();
    terminal.write(`${wiping}  two\r\nthree\r\n`);
    expect(terminal.lines).toEqual(['one', '  two', 'three']);
  });
});
