import { describe, expect, test } from 'vitest';
import { readTree } from '#dialects/tree';
import { PathMistake, parsePath, select, textsOf } from './path.ts';

const BRACES = readTree(
  {
    name: 'x',
    text: 'area north { rule 1 pass tcp; rule 2 stop; note "a b" c; }\narea south { deep { rule 3 pass udp; } }\n',
  },
  'braces',
);
const XML = readTree(
  { name: 'x', text: '<g><r on="yes" n="1"><k>web</k></r><r on="no" n="2"><k>dns</k></r></g>' },
  'xml',
);
const found = (tree: typeof XML, path: string) =>
  select(tree.root, parsePath(path)).map((one) => textsOf(one).join(' '));
const caught = (path: string) =>
  select(BRACES.root, parsePath(path)).map(({ captures }) =>
    Object.fromEntries([...captures].map(([name, words]) => [name, words.join(' ')])),
  );

describe('a path', () => {
  test.each<[string, string[]]>([
    ['area/rule', ['1 pass tcp', '2 stop']],
    ['area north/rule', ['1 pass tcp', '2 stop']],
    ['**/rule', ['1 pass tcp', '2 stop', '3 pass udp']],
    ['area/rule * pass *', ['1 pass tcp']],
    ['area/rule * pass|stop', ['2 stop']],
    ['area/*/.name', ['rule', 'rule', 'note', 'deep']],
    ['area/note', ['a b c']],
    ['area/note "a b" c', ['a b c']],
    ['area east/rule', []],
  ])('%s finds %j', (path, texts) => {
    expect(found(BRACES, path)).toEqual(texts);
  });
  test.each<[string, string[]]>([
    ['g/r/k', ['web', 'dns']],
    ['g/r[@on=yes]/k', ['web']],
    ['g/r[k=dns]/@n', ['2']],
    ['g/r/k[.=web]', ['web']],
    ['g/r/@missing', []],
  ])('%s finds %j', (path, texts) => {
    expect(found(XML, path)).toEqual(texts);
  });
  test('captures words, of every step', () => {
    expect(caught('area {a}/rule {n} {rest...}')).toEqual([
      { a: 'north', n: '1', rest: 'pass tcp' },
      { a: 'north', n: '2', rest: 'stop' },
    ]);
    expect(caught('area {a}/rule {n} {verdict} {protocol}')).toEqual([
      { a: 'north', n: '1', verdict: 'pass', protocol: 'tcp' },
    ]);
  });
  test.each([
    ['a//b', 'a step of the path is empty'],
    ['@x/b', 'an attribute or .name must be the last step'],
    ['a {x...} b', 'a capture with ... must be the last word of its step'],
    ['a {x', '{x is not a capture such as {name}'],
    ['a[b', 'a bracket is not a condition [field=text]'],
    ['a "b', 'a quotation mark is not closed'],
  ])('%s is refused: %s', (path, message) => {
    expect(() => parsePath(path)).toThrow(new PathMistake(message));
  });
});
