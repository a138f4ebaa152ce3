import { expect, test } from 'vitest';
import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { type ReadCapture, readCapture } from '#dialects';
import { commonest, driftOf, formsIn } from './drift.ts';
import { prepareGraft } from './prepared-graft.ts';
import { planTarget } from './target-plan.ts';

const text = (hosts: string, rules = '') =>
  `table inet filter {\n\tset crews { type ipv4_addr; elements = { ${hosts} }; }\n\tchain web {\n\t\ttcp dport 443 accept\n${rules}\t}\n}\n`;
const files = (content: string) => [{ name: 'rules.nft', bytes: new TextEncoder().encode(content) }];
const read = (content: string): ReadCapture => readCapture(files(content));
const bare = 'table inet filter {\n}\n';

test('of several captures the one that most others agree with is the yardstick', () => {
  const forms = (content: string) => formsIn(read(content), [readSelector('crews')]);
  expect(commonest([text('10.9.0.1'), text('10.9.0.2'), text('10.9.0.2'), bare].map(forms))).toBe(1);
  expect(commonest([forms(bare)])).toBeNull();
});

test('a device holds shared parts alike, differs with the fields named, or lacks them', () => {
  const yardstick = prepareGraft(read(text('10.9.0.1, 10.9.0.2')), {
    take: ['crews', 'chain:web'].map(readSelector),
    decide: decisionRule([readDecision('take')]),
    anchor: readAnchor('neighbours'),
    matchMay: () => false,
    placeholders: [],
  });
  const drift = (content: string) => {
    const { holds, differs, lacks } = driftOf(
      planTarget(yardstick, {
        device: { name: 'gull-quay-fw1', port: 22 },
        files: files(content),
        facts: { applyNeedsRestart: () => false },
        fill: () => undefined,
        promises: [],
        way: null,
      }),
    );
    const names = (list: typeof holds) => list.map(({ name }) => name);
    return [names(holds), differs.map(({ object, fields }) => [object.name, fields]), names(lacks)];
  };
  expect(drift(text('10.9.0.2, 10.9.0.1'))).toEqual([['inet filter crews', 'inet filter web'], [], []]);
  expect(drift(bare)).toEqual([[], [], ['inet filter crews', 'inet filter web']]);
  expect(drift(text('10.9.0.1', '\t\tudp dport 443 accept\n'))).toEqual([
    [],
    [
      ['inet filter crews', [{ field: 'elements', what: 'elements', before: [], after: ['10.9.0.2'] }]],
      ['inet filter web', []],
    ],
    [],
  ]);
});
