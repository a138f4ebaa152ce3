import fc from 'fast-check';
import { expect, test } from 'vitest';
import { textOf } from '#core/config';
import type { Ruleset } from '../netfilter/index.ts';
import { nftables } from './index.ts';

/** Rules of every sort that matters here: plain, counting, of many lines, with names, variables, and not understood. */
const RULES = [
  'ip saddr 10.11.0.0/16 tcp dport { 22, 443 } accept',
  'ip saddr 10.11.0.0/16 tcp dport { 22,\n      443 } accept # handle 7',
  'ip6 saddr 2001:db8::/32 drop',
  'ct state established,related accept',
  'limit rate 5/second accept',
  'limit rate 5/second accept # handle 12',
  'ip saddr @harbours jump tickets',
  'ip daddr $office accept comment "of the office"',
  'meta mark 0x10 drop',
  'frobnicate 3 drop',
  'frobnicate',
  'tcp dport 25 jump { udp dport 53 accept; limit rate 5/second accept; }',
  'iifname "lan0" oifname != "wan0" counter reject with tcp reset',
  'ip saddr . tcp dport { 10.12.0.1 . 80, 10.12.0.2 . 81 } accept',
  'tcp dport vmap { 22 : accept, 23 : drop, 24 : jump tickets }',
  'udp dport 53 meta mark set 0x10 accept',
  'numgen random mod 2 == 0 drop',
  'comment "says nothing"',
];

const rules = fc.array(fc.constantFrom(...RULES), { maxLength: 14 });
const ruleset = fc.record({
  office: fc.constantFrom('10.1.0.0/16', '10.2.0.0/16'),
  first: rules,
  second: rules,
  late: rules,
});

function filesOf({
  office,
  first,
  second,
  late,
}: {
  office: string;
  first: string[];
  second: string[];
  late: string[];
}) {
  const text = `define office = ${office}
table inet gate {
  set harbours { type ipv4_addr; flags interval; elements = { 10.11.0.0/16 } }
  chain tickets {
    ${first.filter((rule) => !rule.includes('jump tickets')).join('\n    ')}
  }
  chain forward {
    type filter hook forward priority filter; policy drop;
    ${second.join('\n    ')}${second.at(-1)?.includes('#') === true ? '\n' : ' '}}
}
${late
  .filter((rule) => !rule.includes('\n') && !rule.startsWith('comment'))
  .map((rule, i) => `${i % 2 === 0 ? 'add' : 'insert'} rule inet gate forward ${rule}`)
  .join('\n')}
`;
  return [{ name: 'etc/nftables.conf', text }];
}

const readingOf = (configuration: ReturnType<typeof nftables.read>) => {
  const { objects, opaque } = configuration;
  let policy: unknown;
  try {
    policy = nftables.policy(configuration);
  } catch (error) {
    policy = String(error);
  }
  return { objects, opaque, policy };
};

test('reading again with a former reading at hand gives what reading alone gives', () => {
  fc.assert(
    fc.property(ruleset, ruleset, fc.boolean(), (one, other, used) => {
      const former = nftables.read(filesOf(one));
      const before = readingOf(former);
      const files = filesOf(other);
      const again = nftables.read(files, former);
      // What was worked out of the former before, or after, makes no difference either.
      if (used) readingOf(nftables.read(files, former));
      expect(readingOf(again)).toEqual(readingOf(nftables.read(files)));
      expect(readingOf(former)).toEqual(before);
    }),
    { numRuns: 100 },
  );
});

test('each rule of the former reading serves once, and only where the text is the same', () => {
  const former = nftables.read(
    filesOf({ office: '10.1.0.0/16', first: [RULES[4]!, RULES[0]!], second: [], late: [] }),
  );
  const again = nftables.read(
    filesOf({ office: '10.1.0.0/16', first: [RULES[4]!, RULES[4]!, RULES[0]!], second: [], late: [] }),
    former,
  );
  const statementsOf = ({ syntax }: typeof former) =>
    [...(syntax as Ruleset).tables.values()].flatMap(({ chains }) =>
      [...chains.values()].flatMap(({ rules: own }) => own.map(({ statements }) => statements)),
    );
  const [old, now] = [statementsOf(former), statementsOf(again)];
  expect(now.map((statements) => old.indexOf(statements))).toEqual([0, -1, 1]);
  expect(textOf(again.files, again.objects.at(-3)!.place)).toBe(RULES[4]);
});
