import { expect, test } from 'vitest';
import { z } from 'zod';
import { readDocument } from './index.ts';

const schema = z.strictObject({ says: z.string(), ports: z.array(z.number()) });
const read = (text: string) => readDocument(text, 'promises.yaml', schema);

test('a sound document gives its value', () => {
  expect(read('says: a\nports: [1, 2]\n')).toEqual({ value: { says: 'a', ports: [1, 2] } });
});

test('every mistake is named with line and field, in the order of the file', () => {
  expect(read('colour: red\nports:\n  - 1\n  - many\n')).toMatchObject({
    mistakes: [
      { place: { file: 'promises.yaml', line: 1 } },
      { place: { line: 1 } },
      { message: expect.stringContaining('number') as string, place: { line: 4, field: 'ports[1]' } },
    ],
  });
});

test('what is no YAML is one mistake at its line', () => {
  expect(read('says: a\nports: [1, 2\n')).toMatchObject({
    mistakes: [{ place: { line: expect.any(Number) as number } }],
  });
});

test('aliases that would grow without bound are refused', () => {
  const bomb = [
    'a: &a [x,x,x,x,x,x,x,x,x]',
    ...'bcdefgh'.split('').map((k, i) => `${k}: &${k} [${Array(9).fill(`*${'abcdefgh'[i]}`).join(',')}]`),
  ].join('\n');
  expect(read(bomb)).toMatchObject({
    mistakes: [{ message: expect.stringContaining('aliases') as string }],
  });
});
