import { LEGS } from './gateway.ts';
import type { Random } from './random.ts';

/** What generated rules are made of; packets are drawn from the same values and those just beside them. */
export const NETWORKS4 = [
  '10.1.0.0/16',
  '10.1.2.0/24',
  '10.1.2.64/26',
  '192.0.2.0/24',
  '198.51.100.128/25',
  '203.0.113.7',
];
export const NETWORKS6 = ['2001:db8:1::/48', '2001:db8:1:2::/64', '2001:db8:2::/47', '2001:db8:5::7'];
export const PORTS = ['22', '53', '80', '443', '1024-2047', '8000-8080', '5060'];
const STATES = ['new', 'established', 'related', 'invalid', 'untracked'];

/** One random rule's matches, in the text form of nft(8). `chains` may be called. */
function matches(random: Random, hook: string): string[] {
  const parts: string[] = [];
  const not = (): string => (random.chance(0.15) ? '!= ' : '');
  const many = (list: readonly string[]): string =>
    random.chance(0.5) ? random.pick(list) : `{ ${random.some(list, 1, 3).join(', ')} }`;
  if (random.chance(0.3) && hook !== 'output') parts.push(`iifname ${not()}${many(LEGS)}`);
  if (random.chance(0.2) && hook !== 'input')
    parts.push(`oifname ${not()}${random.chance(0.2) ? '"w*"' : many(LEGS)}`);
  const six = random.chance(0.35);
  const nets = disjoint(six ? NETWORKS6 : NETWORKS4);
  const ip = six ? 'ip6' : 'ip';
  if (random.chance(0.45)) parts.push(`${ip} saddr ${not()}${many(nets)}`);
  if (random.chance(0.45)) parts.push(`${ip} daddr ${not()}${many(nets)}`);
  const kind = random.below(9);
  if (kind <= 1) parts.push(`tcp dport ${not()}${many(PORTS)}`);
  else if (kind === 2) parts.push(`udp dport ${not()}${many(PORTS)}`);
  else if (kind === 3) parts.push(`meta l4proto { tcp, udp } th sport ${many(PORTS)}`);
  else if (kind === 4)
    parts.push(
      six
        ? `icmpv6 type ${many(['echo-request', 'echo-reply', 'destination-unreachable'])}`
        : `icmp type ${not()}${many(['echo-request', 'echo-reply', 'destination-unreachable', '13'])}`,
    );
  else if (kind === 5) parts.push(`meta l4proto ${not()}${many(['tcp', 'udp', '253'])}`);
  else if (kind === 6) parts.push(`tcp dport ${random.pick(['< 1024', '>= 2048', '!= 1024-2047'])}`);
  if (random.chance(0.35)) parts.push(`ct state ${random.some(STATES, 1, 2).join(',')}`);
  return parts;
}

/** Networks none of which lies in another, since elements of one set may not overlap. */
const disjoint = (nets: readonly string[]): string[] =>
  nets.filter((net) => !['10.1.2.0/24', '10.1.2.64/26', '2001:db8:1:2::/64'].includes(net)).concat([]);

/** A random filter ruleset: base chains at several hooks, chains that call chains, sets, maps, verdict maps. */
export function filterRuleset(random: Random, rulesPerChain: number): string {
  const family = 'inet';
  const sides = ['side_a', 'side_b', 'side_c'];
  const body: string[] = [];
  const verdict = (from: number): string => {
    const choice = random.below(10);
    const callable = sides.slice(from);
    if (choice < 4) return 'accept';
    if (choice < 6) return 'drop';
    if (choice === 6) return random.pick(['reject', 'reject with icmpx type port-unreachable']);
    if (choice === 7 && from > 0) return 'return';
    if (callable.length === 0) return 'drop';
    return `${choice === 8 ? 'goto' : 'jump'} ${random.pick(callable)}`;
  };
  const rule = (hook: string, from: number): string => {
    const special = random.below(14);
    if (special === 0)
      return `ip saddr . tcp dport ${random.chance(0.3) ? '!= ' : ''}@pairs ${verdict(from)}`;
    if (special === 1 && from < sides.length) return `ip daddr vmap @fates`;
    if (special === 2)
      return `tcp dport vmap { 22 : accept, 80-90 : drop, 443 : ${verdict(from).startsWith('reject') ? 'drop' : 'accept'} }`;
    if (special === 3) return `ip6 saddr @nets6 ${verdict(from)}`;
    if (special === 4)
      return `meta l4proto . ip saddr { tcp . 10.1.0.0/16, udp . 192.0.2.0/24 } counter ${verdict(from)}`;
    if (special === 5) return `ip saddr != @nets4 ip daddr @nets4 ${verdict(from)}`;
    return `${[...matches(random, hook), random.chance(0.2) ? 'counter' : ''].filter(Boolean).join(' ')} ${verdict(from)}`;
  };
  body.push(
    `  set nets4 { type ipv4_addr; flags interval; elements = { ${random.some(disjoint(NETWORKS4), 1, 3).join(', ')} }; }`,
  );
  body.push(
    `  set nets6 { type ipv6_addr; flags interval; elements = { ${random.some(disjoint(NETWORKS6), 1, 2).join(', ')} }; }`,
  );
  body.push(
    '  set pairs { type ipv4_addr . inet_service; flags interval; elements = { 10.1.0.0/16 . 22, 192.0.2.0/24 . 80-443, 203.0.113.7 . 8000-8080 }; }',
  );
  body.push(
    `  map fates { type ipv4_addr : verdict; flags interval; elements = { 10.1.2.64/26 : ${random.pick(['accept', 'drop'])}, 192.0.2.0/24 : ${random.pick(['jump side_c', 'drop', 'continue'])} }; }`,
  );
  for (const [i, name] of [...sides.entries()].reverse()) {
    const rules = Array.from({ length: 2 + random.below(3) }, () => `    ${rule('', i + 1)}`);
    body.push(`  chain ${name} {\n${rules.join('\n')}\n  }`);
  }
  const hooks: [string, string][] = [
    ['forward', 'filter'],
    ['input', 'filter'],
    ['output', 'filter'],
  ];
  if (random.chance(0.5)) hooks.push(['forward', 'filter + 10']);
  if (random.chance(0.4)) hooks.push(['prerouting', 'mangle']);
  if (random.chance(0.3)) hooks.push(['prerouting', 'raw']);
  if (random.chance(0.4)) hooks.push(['postrouting', 'srcnat + 5']);
  for (const [i, [hook, priority]] of hooks.entries()) {
    const answers = hook === 'forward' || hook === 'input' || hook === 'output';
    const policy = random.chance(answers ? 0.4 : 0.1) ? 'drop' : 'accept';
    // Only some hooks may answer with a reject; the others drop.
    const rules = Array.from({ length: 1 + random.below(answers ? rulesPerChain : 3) }, () => {
      const text = rule(hook, answers ? 0 : sides.length);
      return `    ${answers ? text : text.replace(/reject.*$/, 'drop').replace('vmap @fates', 'vmap { 192.0.2.0/24 : drop }')}`;
    });
    body.push(
      `  chain base_${i} {\n    type filter hook ${hook} priority ${priority}; policy ${policy};\n${rules.join('\n')}\n  }`,
    );
  }
  return `table ${family} harbour {\n${body.join('\n')}\n}\n`;
}
