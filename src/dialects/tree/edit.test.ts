import { describe, expect, test } from 'vitest';
import { applyEdits } from '#dialects/source';
import {
  insertNode,
  readTree,
  removeNode,
  setAttribute,
  setValue,
  type Tree,
  type TreeFormat,
  type TreeNode,
} from './index.ts';

const tree = (text: string, format?: TreeFormat) => readTree({ name: 'quay.conf', text }, format);
const at = (t: Tree, ...path: (string | number)[]): TreeNode =>
  path.reduce<TreeNode>(
    (node, step) =>
      typeof step === 'number' ? node.children[step]! : node.children.find((c) => c.name === step)!,
    t.root,
  );
const change = (t: Tree, ...edits: Parameters<typeof applyEdits>[1][number][]) =>
  applyEdits([{ name: 'quay.conf', text: t.source.text }], edits)[0]!.text;
const INI =
  '; harbour\n[Match]\nName=eth0\n\n[Network]\nAddress = 10.1.0.1/24\nDNS=10.1.0.53 \\\n  10.1.0.54\n';
const XML =
  '<?xml version="1.0"?>\n<gate xmlns="urn:x" mode=\'safe\'>\n  <!-- a -->\n  <port n="1">eth&amp;0</port>\n  <empty/>\n</gate>\n';
const JSON_TEXT = '{\n  "a": [1, {"b": "x\\ny"}],\n  "c": null\n}\n';
const BRACES = 'gate quay {\n  port "eth 0" { up; mtu 1500; } # leg\n  note don\'t;\n}\n';
const INDENTED = 'port eth0\n  address 10.1.0.1/24\n  zone inside\n!\nport eth1\n\taddress 10.2.0.1/24\n';

describe('a small edit', () => {
  test.each<[string, string, (string | number)[], string, string]>([
    ['INI', INI, ['Network', 'Address'], '10.9.0.1/24', 'Address = 10.9.0.1/24'],
    ['XML', XML, ['gate', 'port'], 'a<b', '<port n="1">a&lt;b</port>'],
    ['XML, an empty element', XML, ['gate', 'empty'], 'x', '<empty>x</empty>'],
    ['JSON', JSON_TEXT, ['a', 1, 'b'], 'q"', '{"b": "q\\""}'],
    ['JSON, a number', JSON_TEXT, ['a', 0], '7', '[7, {'],
    ['braces', BRACES, ['gate', 'port', 'mtu'], '9000', 'mtu 9000;'],
    ['braces, a word with a blank', BRACES, ['gate', 'port'], 'eth 1', 'port "eth 1" {'],
    ['braces, no value yet', BRACES, ['gate', 'port', 'up'], 'now', '{ up now;'],
    ['indentation', INDENTED, [1, 'address'], '10.9.0.1/24', '\taddress 10.9.0.1/24\n'],
  ])('of a value changes only the value (%s)', (_, text, path, value, expected) => {
    const t = tree(text);
    const node = at(t, ...path);
    const after = change(t, setValue(t, node, value));
    expect(after).toContain(expected);
    expect(after.slice(0, node.start)).toBe(text.slice(0, node.start));
    expect(after.endsWith(text.slice(node.end))).toBe(true);
    const again = at(tree(after, t.format), ...path);
    expect(again.value).toBe(value);
  });
  test('of an attribute keeps its quotes', () => {
    const t = tree(XML);
    expect(change(t, setAttribute(t, at(t, 'gate').attributes[1]!, "o'k"))).toContain("mode='o&apos;k'");
  });
  test.each<[string, string, (string | number)[], number, string]>([
    ['INI key', INI, ['Network'], 0, '[Network]\nDNS='],
    ['XML element', XML, ['gate'], 0, '<!-- a -->\n  <empty/>'],
    ['first JSON element', JSON_TEXT, ['a'], 0, '"a": [{"b"'],
    ['last JSON element', JSON_TEXT, ['a'], 1, '"a": [1],'],
    ['statement', BRACES, ['gate'], 1, '# leg\n}'],
    ['indented line', INDENTED, [0], 0, 'port eth0\n  zone'],
  ])('removes a node and nothing else (%s)', (_, text, path, index, expected) => {
    const t = tree(text);
    const parent = at(t, ...path);
    const after = change(t, removeNode(t, parent, parent.children[index]!));
    expect(after).toContain(expected);
    expect(at(tree(after, t.format), ...path).children).toHaveLength(parent.children.length - 1);
  });
  const NEW = { name: 'zone', value: 'north mole', kind: 'string' as const, namespace: 'urn:x' };
  test.each<[string, string, (string | number)[]]>([
    ['INI', INI, ['Network']],
    ['INI, empty section', '[A]\n[B]\nx=1\n', ['A']],
    ['XML', XML, ['gate']],
    ['XML, empty', XML, ['gate', 'empty']],
    ['JSON', JSON_TEXT, []],
    ['JSON, empty', '{"a": {}}', ['a']],
    ['braces', BRACES, ['gate']],
    ['braces, one line', BRACES, ['gate', 'port']],
    ['braces, no block', BRACES, ['gate', 'note']],
    ['braces, empty block', 'a {\n}\n', ['a']],
    ['indentation', INDENTED, [0]],
    ['indentation, no child', 'a\nb\n', ['a']],
  ])('adds a node at every position, and removing it gives the meaning back (%s)', (_, text, path) => {
    const t = tree(text);
    const parent = at(t, ...path);
    const shape = (node: TreeNode): unknown => [
      node.name,
      node.children.length > 0 ? null : node.value,
      node.children.map(shape),
    ];
    for (let index = 0; index <= parent.children.length; index++) {
      const after = change(t, insertNode(t, parent, index, NEW));
      const t2 = tree(after, t.format);
      const parent2 = at(t2, ...path);
      expect(parent2.children[index]).toMatchObject({
        name: 'zone',
        value: 'north mole',
        ...(t.format === 'xml' ? { namespace: 'urn:x' } : {}),
      });
      expect(
        shape(tree(change(t2, removeNode(t2, parent2, parent2.children[index]!)), t.format).root),
      ).toEqual(shape(t.root));
    }
  });
  test('copies a subtree from another file of the format', () => {
    const from = tree('gate mole {\n    port eth7 {\n        up;\n    }\n}\n');
    const onto = tree(BRACES);
    const after = change(onto, insertNode(onto, at(onto, 'gate'), 2, at(from, 'gate', 'port')));
    expect(after).toContain("note don't;\n  port eth7 {\n    up;\n  }\n}");
  });
});
