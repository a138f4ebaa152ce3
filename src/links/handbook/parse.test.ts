import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { HandbookError, parseHandbook } from './parse.ts';
import { handbookText } from './sound-handbook.ts';

function mistakesOf(text: string): string[] {
  try {
    parseHandbook(text, 'gateway.yaml');
    return [];
  } catch (error) {
    if (error instanceof HandbookError) return error.mistakes.map((mistake) => mistake.text);
    throw error;
  }
}

/** The sound handbook with one line changed, and the number of that line. */
function withLine(from: string, to: string): { text: string; line: number } {
  const lines = handbookText.split('\n');
  const at = lines.findIndex((line) => line.includes(from));
  if (at < 0) throw new Error(`no line holds ${from}`);
  lines[at] = lines[at]!.replace(from, () => to);
  return { text: lines.join('\n'), line: at + 1 };
}

describe('a handbook', () => {
  it('that is sound is read with patterns compiled, durations in seconds and defaults filled in', () => {
    const book = parseHandbook(handbookText, 'gateway.yaml');
    expect(book.models).toEqual(['Groyne 40']);
    expect(book.limits).toEqual({ command: 20, transfer: 600, install: 300, boot: 90 });
    expect(book.actions.slots?.steps[0]?.each?.groups).toEqual(['id', 'release', 'configuration', 'flags']);
    expect(book.actions.identify.steps[0]?.read.model?.regex.exec('model=Groyne 40')?.[1]).toBe('Groyne 40');
    expect(book.actions.transfer?.by).toBe('sftp');
  });

  it.each([
    ['writes: running', 'writes: runing', 'install.writes', 'running'],
    ['  command: 20s', '  command: 20 parsecs', 'limits.command', 'is not a duration'],
    ['  transfer: 10m', '  transfr: 10m', 'limits', 'Did you mean "transfer"?'],
    ['slots: 2', 'slots: 3', 'slots', 'A device has 1 or 2 slots.'],
    [
      "model: '^model=(.+)$'",
      "model: '^model=(.+$'",
      'actions.identify.steps[0].read.model',
      'not a regular expression',
    ],
    [
      "model: '^model=(.+)$'",
      "modle: '^model=(.+)$'",
      'actions.identify.steps[0].read',
      'Did you mean "model"?',
    ],
    ['(?<id>', '(?<ident>', 'actions.slots.steps[0].each', 'must name a group "id"'],
    ['running: flags~', 'running: flag~', 'actions.slots.steps[0].running', 'names no group "flag"'],
    ['slotctl boot {slot}', 'slotctl boot {slott}', 'actions.boot.steps[0].run', 'Did you mean "slot"?'],
    ['run: slotctl keep', 'mode: upkeep, run: slotctl keep', 'actions.keep.steps[0].mode', 'shell" only'],
    ['put: /incoming/config', 'putt: /incoming/config', 'actions.apply.steps[0]', '"putt" is not known here'],
    ['handbook: 1', 'handbook: 2', 'handbook', 'version 1'],
    ['by: sftp', 'by: http', 'actions.transfer', 'the command that fetches {url}'],
  ])('with "%s" written as "%s" is refused at its line and field', (from, to, field, says) => {
    const { text, line } = withLine(from, to);
    const mistakes = mistakesOf(text);
    expect(mistakes.join('\n')).toContain(`: ${field}: `);
    expect(mistakes.join('\n')).toContain(`gateway.yaml:${line}:`);
    expect(mistakes.join('\n')).toContain(says);
  });

  it('lists every mistake it has, in the order of the file', () => {
    const one = withLine('slots: 2', 'slots: 3').text.replace('command: 20s', 'command: soon');
    const mistakes = mistakesOf(one.replace('(?<id>', '(?<ident>'));
    expect(mistakes.map((text) => /: ([\w.[\]]+): /u.exec(text)?.[1])).toEqual([
      'slots',
      'limits.command',
      'actions.slots.steps[0].each',
    ]);
  });

  it('that is not YAML is refused at the line where it breaks', () => {
    expect(mistakesOf('handbook: 1\nname: [a\nslots: 2')[0]).toMatch(
      /^gateway\.yaml:3:\d+: This is not YAML: .+\.$/u,
    );
  });

  it('that is empty, a list or a word is refused without a stack trace', () => {
    for (const text of ['', '- 1', 'word']) expect(mistakesOf(text)).toHaveLength(1);
  });

  it('of a device of one slot may not keep, recover or boot a spare', () => {
    const text = handbookText.replace('slots: 2', 'slots: 1');
    expect(mistakesOf(text).join('\n')).toContain('actions.keep: A device of one slot cannot "keep".');
  });

  it('must read something that tells one boot from the next', () => {
    const text = handbookText.replace(/^ +boot: '\^boot.*\n/m, '');
    expect(mistakesOf(text)).toEqual([]);
    expect(mistakesOf(text.replace(/^ +uptime: .*\n/m, '')).join('\n')).toContain('Read "boot" or "uptime"');
  });

  it('whose aliases stand for a billion values is refused', () => {
    const levels = 'bcdefghij'.split('');
    const bomb = levels.map((name, at) => {
      const below = 'abcdefghij'[at]!;
      return `${name}: &${name} [${Array(9).fill(`*${below}`).join(', ')}]`;
    });
    expect(mistakesOf(`a: &a [x, x]\n${bomb.join('\n')}\n`)[0]).toContain('aliases');
  });

  it('with any line lost, doubled or cut is sound or has mistakes with lines that exist', () => {
    const lines = handbookText.split('\n');
    fc.assert(
      fc.property(
        fc.nat(lines.length - 1),
        fc.nat(60),
        fc.constantFrom('lost', 'doubled', 'cut'),
        (at, cut, how) => {
          const line = lines[at]!;
          const instead = how === 'lost' ? [] : how === 'doubled' ? [line, line] : [line.slice(0, cut)];
          const text = lines.toSpliced(at, 1, ...instead).join('\n');
          for (const mistake of mistakesOf(text)) {
            const number = Number(/^gateway\.yaml:(\d+):/u.exec(mistake)?.[1]);
            expect(number).toBeGreaterThan(0);
            expect(number).toBeLessThanOrEqual(text.split('\n').length);
          }
        },
      ),
      { numRuns: 300 },
    );
  });
});
