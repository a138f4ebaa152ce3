import { describe, expect, test } from 'vitest';
import { compareConfigurations, textOf } from '#core/config';
import { tree } from './index.ts';

const read = (text: string, name = 'lamp.conf') => tree.read([{ name, text }]);
const names = (text: string) => read(text).objects.map(({ name }) => name);

describe('a text that no dialect knows', () => {
  test('is read in sections, whatever its format', () => {
    expect(names('[lamp]\na=1\n[buoy red]\nb=2\n')).toEqual(['lamp', 'buoy red']);
    expect(names('lamp { a 1; }\nbuoy red { b 2; }\n')).toEqual(['lamp', 'buoy red']);
    expect(names('lamp\n  a 1\nbuoy red\n  b 2\n')).toEqual(['lamp', 'buoy red']);
    expect(names('<sea><lamp><a>1</a></lamp><buoy colour="red"/></sea>')).toEqual(['sea lamp', 'sea buoy']);
    expect(names('{"sea": {"lamp": {"a": 1}, "buoys": [1, 2]}}')).toEqual(['sea lamp', 'sea buoys']);
    expect(names('[{"a": 1}, {"a": 2}]')).toEqual(['lamp.conf entries 0', 'lamp.conf entries 1']);
  });
  test('has comparable values', () => {
    const [lamp] = read('lamp 1 { a 1; a 2; port x { up; } port y { down; } "two words" z; }').objects;
    expect(lamp!.value).toEqual({
      a: ['1', '2'],
      'port x': { up: true },
      'port y': { down: true },
      'two words': 'z',
    });
    const [element] = read('<a><b c="1">t</b><b/></a>').objects;
    expect(element!.value).toEqual({ '@c': '1', '.': 't' });
    const [odd] = read('{"x": {"__proto__": {"a": 1}, "constructor": 2}, "y": 1}').objects;
    expect(JSON.stringify(odd!.value)).toBe('{"__proto__":{"a":1},"constructor":2}');
  });
  test('differs where a field differs, and nowhere else', () => {
    const found = compareConfigurations(
      read('lamp { a 1; port x { mtu 1500; } }\nbuoy { b 2; }\n'),
      read('buoy { b 2; }\nlamp { a 1; port x { mtu 9000; } }\n'),
    );
    expect(found.changes.map((c) => [c.change, c.before?.name, c.fields])).toEqual([
      ['changed', 'lamp', [{ field: 'port x.mtu', what: 'value', before: '1500', after: '9000' }]],
    ]);
  });
  test.each([
    ['<sea tide="4.1"><lamp/><buoy/></sea>', '<sea tide="4.2"><lamp/><buoy/></sea>', 'sea itself'],
    ['<sea>ebb <lamp/><buoy/></sea>', '<sea>flood <lamp/><buoy/></sea>', 'sea itself'],
    ['<sea><lamp>on <a/></lamp><buoy/></sea>', '<sea><lamp>off <a/></lamp><buoy/></sea>', 'sea lamp'],
    ['<sea><lamp>on <a/></lamp><buoy/></sea>', '<sea><lamp><a/> on</lamp><buoy/></sea>', 'sea lamp'],
    ['{"lamp": true, "buoy": 1}', '{"lamp": "true", "buoy": 1}', 'lamp'],
    ['{"lamp": 1, "buoy": 1}', '{"lamp": "1", "buoy": 1}', 'lamp'],
    ['{"lamp": {}, "buoy": 1}', '{"lamp": true, "buoy": 1}', 'lamp'],
    ['{"lamp": null, "buoy": 1}', '{"lamp": "null", "buoy": 1}', 'lamp'],
  ])('differs between %s and %s', (before, after, name) => {
    const { changes } = compareConfigurations(read(before), read(after));
    expect(changes.map((c) => [c.change, c.before?.name])).toEqual([['changed', name]]);
  });
  test('keeps the order of list elements without a name', () => {
    const found = compareConfigurations(
      read('[{"a": 1}, {"a": 2}, {"a": 3}]'),
      read('[{"a": 3}, {"a": 1}, {"a": 2}]'),
    );
    expect(found.changes.map((c) => [c.change, c.before?.value])).toEqual([['moved', { a: 3 }]]);
  });
  test('has no policy, stands aside for dialects that know the language, and is written back unchanged', () => {
    const configuration = read('lamp { a 1; }\n');
    expect(tree.policy(configuration)).toBeNull();
    expect(tree.recognises(configuration.files[0]!)).toBeLessThan(0.6);
    expect(tree.recognises({ name: 'x', text: 'Dear all,\nthe tide is high.\n' })).toBeLessThan(0.5);
    expect(tree.write(configuration.files, [])).toEqual(configuration.files);
    expect(textOf(configuration.files, configuration.objects[0]!.place)).toBe('lamp { a 1; }');
  });
});
