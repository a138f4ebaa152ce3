import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { codeOf, TuckpointError } from '#core/errors';
import {
  byteOffset,
  guessFormat,
  MOST_NODES,
  readTree,
  spanOf,
  TREE_FORMATS,
  type Tree,
  type TreeFormat,
  type TreeNode,
  walk,
} from './index.ts';

const tree = (text: string, format?: TreeFormat) => readTree({ name: 'quay.conf', text }, format);
const at = (t: Tree, ...path: (string | number)[]): TreeNode =>
  path.reduce<TreeNode>(
    (node, step) =>
      typeof step === 'number' ? node.children[step]! : node.children.find((c) => c.name === step)!,
    t.root,
  );
/** A node with its place. */
const placed = (t: Tree, node: TreeNode) => ({ ...node, ...spanOf(t, node) });
const linesOf = (t: Tree, node: TreeNode) => [spanOf(t, node).line, spanOf(t, node).endLine];
const raw = (t: Tree, node: TreeNode) => t.source.text.slice(node.start, node.end);
const failure = (run: () => unknown): TuckpointError => {
  try {
    run();
  } catch (error) {
    if (error instanceof TuckpointError) return error;
    throw error;
  }
  throw new Error('nothing was refused');
};

const INI =
  '; harbour\n[Match]\nName=eth0\n\n[Network]\nAddress = 10.1.0.1/24\nDNS=10.1.0.53 \\\n  10.1.0.54\n';
const XML =
  '<?xml version="1.0"?>\n<gate xmlns="urn:x" mode=\'safe\'>\n  <!-- a -->\n  <port n="1">eth&amp;0</port>\n  <empty/>\n</gate>\n';
const JSON_TEXT = '{\n  "a": [1, {"b": "x\\ny"}],\n  "c": null\n}\n';
const BRACES = 'gate quay {\n  port "eth 0" { up; mtu 1500; } # leg\n  note don\'t;\n}\n';
const INDENTED = 'port eth0\n  address 10.1.0.1/24\n  zone inside\n!\nport eth1\n\taddress 10.2.0.1/24\n';

describe('an INI file', () => {
  test('has sections with keys, in order, with lines', () => {
    const t = tree(INI);
    expect(t.format).toBe('ini');
    expect(t.root.children.map((c) => [c.name, ...linesOf(t, c)])).toEqual([
      ['Match', 2, 3],
      ['Network', 5, 8],
    ]);
    expect(placed(t, at(t, 'Network', 'Address'))).toMatchObject({ value: '10.1.0.1/24', line: 6 });
    expect(at(t, 'Network', 'DNS').words).toEqual(['10.1.0.53', '10.1.0.54']);
  });
});

describe('an XML document', () => {
  test('has elements with namespace, attributes and text', () => {
    const t = tree(XML);
    const gate = at(t, 'gate');
    expect([gate.namespace, ...linesOf(t, gate)]).toEqual(['urn:x', 2, 6]);
    expect(
      gate.attributes.map(({ name, value, start, end }) => [name, value, XML.slice(start, end)]),
    ).toEqual([
      ['xmlns', 'urn:x', 'urn:x'],
      ['mode', 'safe', 'safe'],
    ]);
    expect(placed(t, at(t, 'gate', 'port'))).toMatchObject({ value: 'eth&0', line: 4 });
    expect(raw(t, at(t, 'gate', 'port'))).toBe('<port n="1">eth&amp;0</port>');
    expect(raw(t, at(t, 'gate', 'empty'))).toBe('<empty/>');
  });
  test('never expands an entity of its own: such a document is refused', () => {
    const bomb = '<!DOCTYPE a [<!ENTITY x "ha"><!ENTITY y "&x;&x;">]>\n<a>&y;</a>';
    expect(failure(() => tree(bomb)).text).toMatch(
      /^quay\.conf:2: This is not well-formed XML: undefined entity/,
    );
  });
  test('keeps offsets right behind a byte order mark', () => {
    const t = tree('\ufeff<a><b>1</b></a>');
    expect(raw(t, at(t, 'a', 'b'))).toBe('<b>1</b>');
  });
});

describe('a JSON text', () => {
  test('has members and list elements with their kind', () => {
    const t = tree(JSON_TEXT);
    expect(at(t, 'a').kind).toBe('list');
    expect(placed(t, at(t, 'a', 1, 'b'))).toMatchObject({ kind: 'string', value: 'x\ny', line: 2 });
    expect(placed(t, at(t, 'c'))).toMatchObject({ kind: 'literal', value: 'null', line: 3 });
  });
  test('keeps members of the same name', () => {
    expect(tree('{"a":1,"a":2}').root.children.map((c) => c.value)).toEqual(['1', '2']);
  });
  // RFC 8259 sections 2 to 7: these are not JSON texts.
  test.each(['{"a" 1}', '[1,]', '{a:1}', "['a']", '[01]', '"\\x"', '[1] 2', '[+1]', '["\t"]'])(
    'refuses %s',
    (text) => {
      expect(codeOf(failure(() => tree(text, 'json')))).toBe('dialects/malformed');
    },
  );
  test('agrees with the JSON parser of the language on values (property)', () => {
    const back = (node: TreeNode): unknown =>
      node.kind === 'object'
        ? Object.fromEntries(node.children.map((c) => [c.name, back(c)]))
        : node.kind === 'list'
          ? node.children.map(back)
          : node.kind === 'root'
            ? back(node.children[0]!)
            : node.kind === 'string'
              ? node.value
              : JSON.parse(node.value!);
    fc.assert(
      fc.property(fc.json({ maxDepth: 5 }), (text) => {
        const expected = JSON.parse(text);
        expect(JSON.stringify(back(tree(text, 'json').root))).toBe(JSON.stringify(expected));
      }),
    );
  });
});

describe('a text with braces', () => {
  test('has statements with words and blocks', () => {
    const t = tree(BRACES);
    expect(t.format).toBe('braces');
    expect(placed(t, at(t, 'gate'))).toMatchObject({ value: 'quay', line: 1, endLine: 4 });
    expect(at(t, 'gate', 'port').words).toEqual(['eth 0']);
    expect(at(t, 'gate', 'port').children.map((c) => [c.name, c.value])).toEqual([
      ['up', null],
      ['mtu', '1500'],
    ]);
    expect(at(t, 'gate', 'note').value).toBe("don't");
  });
  test('may end statements by lines, with the brace on its own line', () => {
    const t = tree('rule one\n{\n  pass\n  from 10.0.0.0/8\n}\nend', 'braces');
    expect(t.root.children.map((c) => c.name)).toEqual(['rule', 'end']);
    expect(at(t, 'rule').children.map((c) => [c.name, c.value])).toEqual([
      ['pass', null],
      ['from', '10.0.0.0/8'],
    ]);
  });
  test('loses nothing behind what looks like a comment and is never closed', () => {
    const t = tree('a /* one */ b;\npath /* {\n  deny all;\n}\n', 'braces');
    expect(t.root.children.map((c) => [c.name, c.value])).toEqual([
      ['a', 'b'],
      ['path', '/*'],
    ]);
    expect(at(t, 'path').children.map((c) => [c.name, c.value])).toEqual([['deny', 'all']]);
    expect(tree('a; /*/', 'braces').root.children.map((c) => c.name)).toEqual(['a', '/*/']);
  });
  test('says where the block begins that is never closed', () => {
    expect(failure(() => tree('a {\n  b {\n  c;\n}\n', 'braces')).text).toBe(
      'quay.conf:1: The block "a" is never closed. The file may be truncated.',
    );
    expect(failure(() => tree('a;\n}', 'braces')).text).toMatch(/^quay\.conf:2: This closing brace/);
  });
});

describe('a text nested by indentation', () => {
  test('makes deeper lines children of the line above', () => {
    const t = tree(INDENTED);
    expect(t.format).toBe('indentation');
    expect(t.root.children.map((c) => [c.name, c.value, ...linesOf(t, c)])).toEqual([
      ['port', 'eth0', 1, 3],
      ['port', 'eth1', 5, 6],
    ]);
    expect(at(t, 1, 'address').value).toBe('10.2.0.1/24');
  });
});

describe('bad input', () => {
  test.each<[TreeFormat, (depth: number) => string]>([
    ['json', (n) => '['.repeat(n) + ']'.repeat(n)],
    ['xml', (n) => '<a>'.repeat(n) + '</a>'.repeat(n)],
    ['braces', (n) => 'a {'.repeat(n) + '}'.repeat(n)],
    ['indentation', (n) => Array.from({ length: n }, (_, i) => `${' '.repeat(i)}a`).join('\n')],
  ])('%s nested too deep is refused with its line', (format, nested) => {
    expect(() => tree(nested(150), format)).not.toThrow();
    const error = failure(() => tree(nested(format === 'indentation' ? 1000 : 100_000), format));
    expect(error.code).toBe('dialects/too-deep');
    expect(error.place?.line).toBeGreaterThan(0);
  });
  test('too many entries are refused', () => {
    expect(failure(() => tree('a\n'.repeat(MOST_NODES + 1), 'indentation')).code).toBe('dialects/too-large');
  });
  test('a file of 100 MB is refused before it is read', () => {
    expect(failure(() => tree('x'.repeat(100_000_000), 'ini')).code).toBe('dialects/too-large');
  });
  test('text of no known format is refused, not guessed', () => {
    expect(failure(() => tree('$$$ %% ((\n@@@ ((\n')).code).toBe('dialects/format-unknown');
  });
  test.each([
    ['JSON', JSON_TEXT, 'json'],
    ['XML', XML, 'xml'],
    ['braces', BRACES, 'braces'],
  ] as const)('a truncated file is refused or read, never half understood (%s)', (_, text, format) => {
    for (let end = 0; end < text.trimEnd().length; end++) {
      const cut = text.slice(0, end);
      if (format === 'braces' && cut.split('{').length === cut.split('}').length) continue;
      expect(() => tree(cut, format)).toThrow(TuckpointError);
    }
  });
});

describe('every reader', () => {
  const corpus = [INI, XML, JSON_TEXT, BRACES, INDENTED];
  const mangled = fc
    .tuple(
      fc.constantFrom(...corpus),
      fc.array(
        fc.tuple(
          fc.nat(300),
          fc.constantFrom(
            '{',
            '}',
            '"',
            "'",
            '<',
            '>',
            '[',
            ']',
            '\\',
            '\n',
            ' ',
            '\t',
            ';',
            '#',
            '&',
            '\u{1f6a2}',
            'é',
            '',
          ),
        ),
        { maxLength: 8 },
      ),
    )
    .map(([text, cuts]) =>
      cuts.reduce(
        (t, [where, what]) => t.slice(0, where % t.length) + what + t.slice((where % t.length) + 1),
        text,
      ),
    );
  test('XML that ends in half a character is refused like any other text', () => {
    expect(() => tree('<gate>\n<port \ud800', 'xml')).toThrow(
      expect.objectContaining({
        message: 'The text holds half a character.',
        place: expect.objectContaining({ line: 2 }),
      }) as Error,
    );
    expect(() => tree('<?xml \ud800', 'xml')).toThrow(TuckpointError);
  });
  test('gives a tree whose spans are nested, ordered and inside the text, or one clear sentence (fuzz)', () => {
    fc.assert(
      fc.property(
        fc.oneof(mangled, fc.string({ unit: 'binary' })),
        fc.constantFrom(...TREE_FORMATS),
        (text, format) => {
          let t: Tree;
          try {
            t = tree(text, format);
          } catch (error) {
            if (!(error instanceof TuckpointError)) throw error;
            expect(error.place?.file).toBe('quay.conf');
            expect(error.place?.line).toBeGreaterThan(0);
            expect(error.message).not.toContain('\n');
            return;
          }
          expect(t.source.text).toBe(text);
          for (const node of walk(t.root)) {
            let from = node.start;
            for (const child of node.children) {
              expect(child.start).toBeGreaterThanOrEqual(from);
              expect(child.end).toBeGreaterThan(child.start);
              expect(child.end).toBeLessThanOrEqual(node.end);
              from = child.end;
            }
            if (node.valueStart >= 0) expect(node.valueStart).toBeLessThanOrEqual(node.valueEnd);
            const { line, endLine } = spanOf(t, node);
            expect(endLine).toBeGreaterThanOrEqual(line);
          }
        },
      ),
      { numRuns: 1000 },
    );
  });
  test('guesses the format of what it reads', () => {
    expect(corpus.map((text) => guessFormat(text)[0]!.format)).toEqual([
      'ini',
      'xml',
      'json',
      'braces',
      'indentation',
    ]);
  });
  test('counts bytes as well as characters', () => {
    const t = tree('é=1\nb=2\n', 'ini');
    expect(byteOffset(t, t.root.children[1]!.start)).toBe(5);
  });
});
