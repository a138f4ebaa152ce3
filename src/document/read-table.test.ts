import { expect, test } from 'vitest';
import { readTable } from './index.ts';

const read = (text: string) => readTable(text, 'fill.csv');

// The examples of RFC 4180 section 2, points 1 to 7.
test.each([
  ['aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n', [['zzz', 'yyy', 'xxx']]],
  ['aaa,bbb,ccc\r\nzzz,yyy,xxx', [['zzz', 'yyy', 'xxx']]],
  [
    'h,i,j\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx',
    [
      ['aaa', 'b\r\nbb', 'ccc'],
      ['zzz', 'yyy', 'xxx'],
    ],
  ],
  ['h,i,j\r\n"aaa","b""bb","ccc"', [['aaa', 'b"bb', 'ccc']]],
])('%j', (text, rows) => {
  const table = read(text);
  expect('rows' in table && table.rows.map(({ cells }) => cells)).toEqual(rows);
});

test('lines are counted through line breaks inside quotes', () => {
  const table = read('a,b\n"x\ny",1\nz,2\n');
  expect('rows' in table && table.rows.map(({ line }) => line)).toEqual([2, 4]);
});

test.each([
  ['a,b\n1,2\n3\n', 3, 'fields'],
  ['a,b\n1,"2\n', 2, 'quote'],
  ['a,b\n1,2"3\n', 2, 'quote'],
  ['', 1, 'empty'],
])('%j is refused at line %i', (text, line, words) => {
  expect(read(text)).toMatchObject({
    mistakes: [{ message: expect.stringContaining(words) as string, place: { file: 'fill.csv', line } }],
  });
});
