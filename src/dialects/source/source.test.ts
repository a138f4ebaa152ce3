import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { codeOf, TuckpointError } from '#core/errors';
import { applyEdits, decode, encode, LARGEST_FILE, Lines, shorten } from './index.ts';

const bytes = (...values: number[]): Uint8Array => Uint8Array.from(values);

function failure(run: () => unknown): TuckpointError {
  try {
    run();
  } catch (error) {
    if (error instanceof TuckpointError) return error;
    throw error;
  }
  throw new Error('nothing was thrown');
}

describe('a captured file', () => {
  it('comes back byte for byte, byte order mark included', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), fc.boolean(), (text, mark) => {
        const whole = new TextEncoder().encode((mark ? '\uFEFF' : '') + text.replaceAll('\0', ''));
        expect(encode(decode('a', whole))).toEqual(whole);
      }),
    );
  });

  it('in UTF-16 is refused with the reason', () => {
    expect(failure(() => decode('gw.conf', bytes(0xff, 0xfe, 0x74, 0))).text).toMatch(
      /^gw\.conf:1: .*UTF-16/,
    );
  });

  it('with a NUL byte is refused at its line', () => {
    expect(failure(() => decode('gw.conf', bytes(0x61, 10, 0x62, 0))).text).toMatch(/^gw\.conf:2: .*NUL/);
  });

  // Malformed sequences of RFC 3629, section 10 (overlong forms, surrogates) and a cut-off sequence.
  it.each([
    ['an overlong slash', [0xc0, 0xaf]],
    ['a surrogate', [0xed, 0xa0, 0x80]],
    ['a cut-off sequence', [0xe2, 0x82]],
    ['a byte that never occurs', [0xff]],
    ['a value beyond the last', [0xf4, 0x90, 0x80, 0x80]],
  ])('with %s is refused at its line', (_, malformed) => {
    const error = failure(() => decode('gw.conf', bytes(0xc3, 0xa4, 10, 10, ...malformed)));
    expect([error.code, error.place?.line]).toEqual(['dialects/encoding', 3]);
  });

  it('that is far too large is refused', () => {
    const error = failure(() => decode('dump', new Uint8Array(LARGEST_FILE + 1)));
    expect(codeOf(error)).toBe('dialects/too-large');
  });
});

describe('edits', () => {
  const file = { name: 'a', text: 'one two three' };
  const at = (start: number, end: number) => ({ file: 'a', line: 1, endLine: 1, start, end });

  it('change their stretch and nothing else, in any order', () => {
    const edits = [
      { place: at(8, 13), text: '3' },
      { place: at(0, 3), text: '1' },
      { place: at(4, 4), text: 'and ' },
    ];
    expect(applyEdits([file], edits)[0]!.text).toBe('1 and two 3');
  });

  it('that insert stand before what is replaced at the same place, whichever comes first', () => {
    const edits = [
      { place: at(4, 7), text: '2' },
      { place: at(4, 4), text: 'and ' },
    ];
    for (const order of [edits, edits.toReversed()])
      expect(applyEdits([file], order)[0]!.text).toBe('one and 2 three');
  });

  it('that overlap, leave the file, or name no file are refused', () => {
    const code = (...edits: { place: ReturnType<typeof at>; text: string }[]) =>
      failure(() => applyEdits([file], edits)).code;
    expect(code({ place: at(0, 5), text: '' }, { place: at(4, 6), text: '' })).toBe('dialects/edit-overlap');
    expect(code({ place: at(0, 99), text: '' })).toBe('dialects/edit-outside');
    expect(code({ place: { ...at(0, 1), file: 'b' }, text: '' })).toBe('dialects/edit-outside');
  });
});

describe('lines', () => {
  it('count from one, and a span ends on the line of its last character', () => {
    const lines = new Lines({ name: 'a', text: 'ab\ncd\n\nef' });
    expect([0, 2, 3, 6, 7].map((offset) => lines.lineAt(offset))).toEqual([1, 1, 2, 3, 4]);
    expect(lines.span(3, 6)).toMatchObject({ line: 2, endLine: 2 });
  });

  it('are joined and cut for messages', () => {
    expect(shorten(' a\n\t b ')).toBe('a b');
    expect(shorten('x'.repeat(300))).toHaveLength(200);
  });
});
