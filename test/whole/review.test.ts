import { afterAll, expect, test } from 'vitest';
import { dataOf, Workbench } from './workbench.ts';

const bench = new Workbench();
afterAll(() => bench.remove());

const RULES = `table inet gate {
  set refused { type ipv4_addr; elements = { 203.0.113.7 } }
  set alike { type ipv4_addr; elements = { 203.0.113.7 } }
  chain forward {
    type filter hook forward priority filter; policy drop;
    ip saddr @refused drop
    tcp dport 22 accept
    tcp dport { 22, 443 } accept
  }
}
`;

interface Printed {
  readonly findings: readonly {
    readonly kind: string;
    readonly rule: { readonly line: number };
    readonly removal: { readonly changes: string; readonly rows?: readonly unknown[] };
  }[];
  readonly objects: readonly {
    readonly kind: string;
    readonly object: { readonly name: string; readonly line: number };
    readonly removal: { readonly changes: string };
  }[];
}

test('a review says of each finding what removing it would change', async () => {
  const file = bench.file('gate.nft', RULES);
  const answer = await bench.run('review', file, '--removal');
  expect(answer.code).toBe(1);
  const { findings, objects } = dataOf<Printed>(answer);
  expect(findings.map(({ kind, rule, removal }) => [kind, rule.line, removal.changes])).toEqual([
    ['redundant', 7, 'nothing'],
    ['overlap', 7, 'equal'],
    ['overlap', 8, 'different'],
  ]);
  expect(
    objects.map(({ kind, object, removal }) => [kind, object.name, object.line, removal.changes]),
  ).toEqual([
    ['same content', 'inet gate alike', 3, 'not computed'],
    ['unused', 'inet gate alike', 3, 'nothing'],
  ]);
  const { stdout } = await bench.say('review', file, '--removal');
  expect(stdout).toMatch(
    /overlap: .*gate\.nft:7:[\s\S]*?Removing it changes no traffic\.\n\noverlap: .*gate\.nft:8:/,
  );
  expect(stdout).toMatch(/Removing it changes:\n {4}accept -> drop: .*443/);
});

test('of an object that something unread may mention, a review promises nothing', async () => {
  const file = bench.file('with-more.nft', `${RULES}include "more.nft"\n`);
  const { stdout } = await bench.say('review', file);
  expect(stdout).toContain('Nothing that was read mentions it.');
  expect(stdout).not.toContain('Nothing mentions it.');
});
