import { expect, it } from 'vitest';
import { decisionRule, readAnchor, readSelector } from '#core/config';
import { readCapture } from '#dialects';
import { type GraftTarget, planTarget, prepareGraft } from '#runs';

const ruleset = (sets: string, rules: string) => `table inet filter {
${sets}	chain forward {
		type filter hook forward priority filter; policy drop;
		ct state established,related accept
${rules}		counter drop
	}
}
`;
const SET = '\tset harbours { type ipv4_addr; elements = { 10.1.0.1, 10.2.0.1 }; }\n';
const RULE = '\t\tip saddr @harbours tcp dport 443 accept comment "crew web"\n';
const files = (text: string) => [{ name: 'etc/nftables.conf', bytes: new TextEncoder().encode(text) }];
const target = (more: Partial<GraftTarget>): GraftTarget => ({
  device: { name: 'gull-quay-fw1', port: 22 },
  files: files(ruleset('', '')),
  facts: { applyNeedsRestart: () => false },
  fill: () => undefined,
  promises: [],
  way: null,
  ...more,
});
const graft = (take: string, more: Partial<GraftTarget> = {}) =>
  planTarget(
    prepareGraft(readCapture(files(ruleset(SET, RULE))), {
      take: [readSelector(take)],
      decide: decisionRule([]),
      anchor: readAnchor('neighbours'),
      matchMay: () => false,
      placeholders: ['10.1.0.1'],
    }),
    target({ fill: () => '10.1.0.1', ...more }),
  );

it('objects that nobody uses are proved to change no traffic', () => {
  const { difference, traffic } = graft('address-group:harbours');
  expect(difference.parts[0]!.difference.changes.map(({ change, kind }) => [change, kind])).toEqual([
    ['added', 'address-group'],
  ]);
  expect([traffic!.verdict, traffic!.unread]).toEqual(['equal', []]);
});

it('a rule with what it needs changes exactly the traffic it names', () => {
  const { traffic } = graft('rule:"crew web"');
  expect(traffic!.verdict).toBe('different');
  expect(traffic!.rows.map(({ path, before, after }) => [path, before.verdict, after.verdict])).toEqual([
    ['through', 'drop', 'accept'],
  ]);
});
