import { expect, test } from 'vitest';
import { fillInsFromWords, joinFillIns, readFillIns } from './fill-in-file.ts';

const quay = { name: 'gull-quay-fw2', own: { lan: 'eth1', office: '10.4.20.0/24' } };
const mole = { name: 'north-mole-fw1', own: {} };

const YAML = `fill-ins:
  lan0:
    '*': own.lan
    north-mole-fw1: lan7
  10.1.20.0/24:
    gull-quay-fw2: 10.4.20.0/24
  8443: { '*': 9443 }
`;
const CSV = `device,lan0,10.1.20.0/24
gull-quay-fw2,own.lan,10.4.20.0/24
north-mole-fw1,lan7,
`;

test('a value is the device’s in the file, else every device’s, perhaps from its own record', () => {
  const fills = readFillIns(YAML, 'fill.yaml');
  expect(fills.placeholders).toEqual(expect.arrayContaining(['lan0', '10.1.20.0/24', '8443']));
  expect(fills.valueFor(quay, 'lan0')).toBe('eth1');
  expect(fills.valueFor(mole, 'lan0')).toBe('lan7');
  expect(fills.valueFor(mole, '10.1.20.0/24')).toBeUndefined();
  expect(fills.valueFor(mole, '8443')).toBe('9443');
});

test('a table says the same', () => {
  const fills = readFillIns(CSV, 'fill.csv');
  expect(fills.valueFor(quay, 'lan0')).toBe('eth1');
  expect(fills.valueFor(quay, '10.1.20.0/24')).toBe('10.4.20.0/24');
  expect(fills.valueFor(mole, '10.1.20.0/24')).toBeUndefined();
});

test('what is given by hand wins over a file', () => {
  const fills = joinFillIns([fillInsFromWords(['10.1.20.0/24=own.office']), readFillIns(YAML, 'fill.yaml')]);
  expect(fills.valueFor(quay, '10.1.20.0/24')).toBe('10.4.20.0/24');
  expect(fills.valueFor(mole, 'lan0')).toBe('lan7');
});

test.each([
  ['fill.yaml', 'fill-ins:\n  10.1.20.0/24:\n    gull-quay-fw2: 10.4.20.1\n', 3, 'IPv4 prefix'],
  ['fill.yaml', 'fill-ins:\n  lan0: eth1\n', 2, 'record'],
  ['fill.yaml', 'values: {}\n', 1, ''],
  ['fill.csv', 'device,10.1.20.1\na,10.1.20.2\nb,lan0\n', 3, 'type name'],
  ['fill.csv', 'name,lan0\n', 1, 'device'],
  ['fill.csv', 'device,lan0\na,b\na,c\n', 3, 'twice'],
  ['fill.csv', 'device,"! odd"\na,b\n', 2, 'cannot vary'],
])('%s: a mistake is named with its line: %j', (file, text, line, words) => {
  expect(() => readFillIns(text, file)).toThrow(
    expect.objectContaining({
      code: 'config/fill-in',
      message: expect.stringContaining(words) as string,
      place: expect.objectContaining({ file, line }) as unknown,
    }) as Error,
  );
});

test.each(['lan0', '=x', 'lan0=10.0.0.1'])('%s is no fill-in', (text) => {
  expect(() => fillInsFromWords([text])).toThrow(
    expect.objectContaining({ code: 'config/fill-in' }) as Error,
  );
});
