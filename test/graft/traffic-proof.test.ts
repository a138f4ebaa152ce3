import { expect, it } from 'vitest';
import { decisionRule, readAnchor, readSelector } from '#core/config';
import { graftCapture, readCapture } from '#dialects';

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
const capture = (text: string) =>
  readCapture([{ name: 'etc/nftables.conf', bytes: new TextEncoder().encode(text) }]);
const graft = (take: string) => {
  const source = capture(ruleset(SET, RULE)).parts[0]!;
  return graftCapture(source, [readSelector(take)], capture(ruleset('', '')), {
    decide: decisionRule([]),
    anchor: readAnchor('neighbours'),
    matchMay: () => false,
  }).outcome!;
};

it('objects that nobody uses are proved to change no traffic', () => {
  const { objects, traffic } = graft('address-group:harbours');
  expect(objects.parts[0]!.difference.changes.map(({ change, kind }) => [change, kind])).toEqual([
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
