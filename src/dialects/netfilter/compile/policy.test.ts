import { describe, expect, it } from 'vitest';
import { parseAddress } from '#core/address';
import { decide, type Packet, type Policy } from '#core/traffic';
import { nftables } from '../../nftables/index.ts';

/**
 * Verdicts follow nft(8): sections "Chains" (hooks, priorities, policies), "Verdict statements", "Sets", "Maps", "NAT
 * statements". The kernel itself is asked in test/lab/traffic.
 */
const policyOf = (text: string): Policy => {
  const read = nftables.read([{ name: 'gateway.nft', text }]);
  expect(read.opaque.filter((part) => !part.text.includes('gangway'))).toEqual([]);
  return nftables.policy(read)!;
};

const packet = (more: Partial<Packet> = {}): Packet => ({
  path: 'through',
  family: 4,
  inInterface: 'lan0',
  outInterface: 'wan0',
  source: parseAddress('10.1.2.3')!,
  destination: parseAddress('192.0.2.7')!,
  protocol: 6,
  sourcePort: 40_000,
  destinationPort: 22,
  state: 'new',
  ...more,
});

const six: Partial<Packet> = {
  family: 6,
  source: parseAddress('2001:db8:1::3')!,
  destination: parseAddress('2001:db8:2::7')!,
};

const verdict = (text: string, more: Partial<Packet> = {}): string =>
  decide(policyOf(text), packet(more)).verdict;

const forward = (rules: string, policy = 'drop', rest = ''): string =>
  `table inet t { ${rest}\n chain c { type filter hook forward priority filter; policy ${policy};\n${rules}\n} }`;

describe('base chains', () => {
  it('of one hook all have their say: accept ends one chain, drop ends all', () => {
    const both = (first: string, second: string) =>
      `table inet a { chain x { type filter hook forward priority 10; ${first}; } }
       table inet b { chain y { type filter hook forward priority filter; ${second}; } }`;
    expect(verdict(both('drop', 'accept'))).toBe('drop');
    expect(verdict(both('accept', 'drop'))).toBe('drop');
    expect(verdict(both('accept', 'accept'))).toBe('accept');
  });

  it('are asked in the order of their priority, whatever their order in the file', () => {
    const text = `table inet a { chain x { type filter hook forward priority filter + 1; drop; } }
                  table inet b { chain y { type filter hook forward priority filter - 1; reject; } }`;
    expect(verdict(text)).toBe('reject');
  });

  it('see the packets of their hook and family only', () => {
    const input = 'table ip t { chain c { type filter hook input priority filter; policy drop; } }';
    expect(verdict(input)).toBe('accept');
    expect(verdict(input, { path: 'to', outInterface: '' })).toBe('drop');
    expect(verdict(input, { path: 'to', outInterface: '', ...six })).toBe('accept');
  });

  it('of a dormant table do nothing', () => {
    expect(
      verdict('table ip t { flags dormant; chain c { type filter hook forward priority 0; drop; } }'),
    ).toBe('accept');
  });

  it('before connection tracking see every packet as invalid', () => {
    const raw = (rule: string) =>
      `table ip t { chain c { type filter hook prerouting priority raw; ${rule}; } }`;
    expect(verdict(raw('ct state established accept; drop'), { state: 'established' })).toBe('drop');
    expect(verdict(raw('ct state invalid drop'))).toBe('drop');
  });

  it('before routing know no out interface', () => {
    const early = (rule: string) =>
      `table ip t { chain c { type filter hook prerouting priority -150; ${rule}; } }`;
    expect(verdict(early('oifname "wan0" drop'))).toBe('accept');
    expect(verdict(early('oifname != "wan0" drop'))).toBe('drop');
  });
});

describe('chains that call chains', () => {
  it('come back after jump, on to the next rule', () => {
    expect(
      verdict(forward('jump side\naccept', 'drop', 'chain side { tcp dport 80 drop; return; drop; }')),
    ).toBe('accept');
  });

  it('do not come back after goto', () => {
    const rest = 'chain side { tcp dport 80 drop; }';
    expect(verdict(forward('goto side\naccept', 'drop', rest))).toBe('drop');
    const nested = 'chain inner { tcp dport 80 drop; }; chain side { goto inner; drop; }';
    expect(verdict(forward('jump side\naccept', 'drop', nested))).toBe('accept');
  });

  it('in a loop are refused, with the place of the jump that closes it', () => {
    const text = `table ip t {\n chain a { type filter hook input priority 0; jump b; }\n chain b {\n  jump c\n }\n chain c {\n  tcp dport 22 jump b\n }\n}`;
    expect(() => policyOf(text)).toThrow(
      expect.objectContaining({ code: 'dialects/jump-loop', place: { file: 'gateway.nft', line: 7 } }),
    );
  });

  it('to a chain that is not there are named as not followed', () => {
    const policy = policyOf(forward('tcp dport 22 jump nowhere\naccept'));
    expect(policy.unread).toMatchObject([
      { line: 3, reason: 'the chain nowhere is not in this configuration' },
    ]);
    expect(decide(policy, packet()).verdict).toBe('accept');
  });

  it('that multiply without end are refused', () => {
    const chains = Array.from(
      { length: 15 },
      (_, i) =>
        `chain c${i} { ${i === 0 ? 'accept;' : Array.from({ length: 5 }, (_, k) => `tcp dport ${k} jump c${i - 1};`).join(' ')} }`,
    ).join('\n');
    expect(() => policyOf(forward('jump c14', 'drop', chains))).toThrow(
      expect.objectContaining({ code: 'dialects/too-large' }),
    );
  });
});

describe('matches', () => {
  it('on fields of one protocol or family hold for that one only, also when negated', () => {
    expect(verdict(forward('tcp dport != 80 accept'), { protocol: 17 })).toBe('drop');
    expect(verdict(forward('ip saddr != 10.9.0.0/16 accept'), six)).toBe('drop');
    expect(verdict(forward('ip saddr != 10.9.0.0/16 accept'))).toBe('accept');
    expect(verdict(forward('meta l4proto != udp accept'), six)).toBe('accept');
  });

  it('on several fields at once are met by pairs', () => {
    const set =
      'set s { type ipv4_addr . inet_service; flags interval; elements = { 10.1.0.0/16 . 22, 10.2.0.0/16 . 80-90 }; }';
    const rule = (text: string, more: Partial<Packet> = {}) => verdict(forward(text, 'drop', set), more);
    expect(rule('ip saddr . tcp dport @s accept')).toBe('accept');
    expect(rule('ip saddr . tcp dport @s accept', { destinationPort: 85 })).toBe('drop');
    expect(rule('ip saddr . tcp dport != @s accept', { destinationPort: 85 })).toBe('accept');
    expect(rule('ip saddr . tcp dport != @s accept', { protocol: 17 })).toBe('drop');
    expect(rule('ip saddr . tcp dport != @s accept', six)).toBe('drop');
  });

  it('by a verdict map send each key its own way, and the rest to the star', () => {
    const map = 'tcp dport vmap { 22 : jump side, 80 : accept, * : drop }\nreject';
    const ask = (destinationPort: number) =>
      verdict(forward(map, 'drop', 'chain side { }'), { destinationPort });
    expect([ask(22), ask(80), ask(99)]).toEqual(['reject', 'accept', 'drop']);
  });

  it('with masks, comparisons and names of ports read as the language means them', () => {
    expect(verdict(forward('ip saddr & 255.255.0.0 == 10.1.0.0 accept'))).toBe('accept');
    expect(verdict(forward('tcp dport < 22 accept'))).toBe('drop');
    expect(verdict(forward('tcp dport <= ssh accept'))).toBe('accept');
    expect(verdict(forward('iifname { "la*", "dmz0" } accept'))).toBe('accept');
    expect(verdict(forward('icmp type echo-request accept'), { protocol: 1, icmpType: 8 })).toBe('accept');
    expect(
      verdict(forward('icmpv6 type nd-neighbor-solicit accept'), { ...six, protocol: 58, icmpType: 135 }),
    ).toBe('accept');
  });
});

describe('what the packet space cannot express', () => {
  const conditionsOf = (rules: string): string[] =>
    policyOf(forward(rules)).pipelines[0]!.stages[0]!.rules.flatMap((rule) =>
      (rule.match.conditions ?? []).map(({ name, holds }) => `${holds ? '' : 'not '}${name}`),
    );

  it('is a named condition: one for the packet itself, one per rule for what counts', () => {
    expect(conditionsOf('meta mark 1 accept\nmeta mark != 1 drop')).toEqual(['mark 1', 'not mark 1']);
    expect(conditionsOf('tcp dport 22 limit rate 5/minute accept\nlimit rate 5/minute drop')).toEqual([
      'limit rate 5/minute (rule "tcp dport 22 limit rate 5/minute accept")',
      'limit rate 5/minute (rule "limit rate 5/minute drop")',
    ]);
    expect(conditionsOf('tcp flags & (fin | syn) == syn accept')).toEqual(['tcp flags & (fin | syn) == syn']);
    // No masked address ends so; the prefix 10.1.2.3/16 would be another question.
    expect(conditionsOf('ip saddr & 255.255.0.0 == 10.1.2.3 accept')).toEqual([
      'ip saddr & 255.255.0.0 == 10.1.2.3',
    ]);
  });

  it('does not hide the rule: it may match or not', () => {
    const policy = policyOf(forward('limit rate 5/minute accept\ndrop'));
    const [name] = [...decide(policy, packet()).assumed];
    expect(decide(policy, packet()).verdict).toBe('drop');
    expect(decide(policy, packet({ conditions: [name!] })).verdict).toBe('accept');
  });

  it('is a set whose content changes while packets pass', () => {
    const text = forward(
      'ip saddr @seen accept\nupdate @seen { ip saddr }',
      'drop',
      'set seen { type ipv4_addr; flags dynamic; }',
    );
    expect(decide(policyOf(text), packet()).assumed).toEqual(['ip saddr @seen']);
  });

  it('a statement not understood makes its rule uncertain, and is listed with what it could touch', () => {
    const policy = policyOf(forward('tcp dport 22 gangway 7 accept'));
    expect(policy.unread).toMatchObject([
      {
        file: 'gateway.nft',
        line: 3,
        reason: '"gangway" does not begin a statement known here',
        paths: ['through'],
      },
    ]);
    expect(decide(policy, packet()).assumed).toHaveLength(1);
  });

  it('a change of the packet or its mark is listed when other rules look at it', () => {
    const reasons = (rules: string) => policyOf(forward(rules)).unread.map((part) => part.reason);
    expect(reasons('meta mark set 1 accept')).toEqual([]);
    expect(reasons('mark 2 drop\nmeta mark set 1 accept')).toEqual([
      'it sets meta mark, which other rules look at',
    ]);
    expect(reasons('tcp dport set 80 accept')).toEqual(['it rewrites tcp dport, which later rules match on']);
    expect(reasons('notrack')).toEqual([]);
    expect(reasons('notrack\nct state new accept')).toEqual(['later rules see these packets as untracked']);
  });

  it('chains off the paths are listed when they may stop packets', () => {
    const bridge = (rule: string) =>
      policyOf(`table bridge t { chain c { type filter hook forward priority 0; ${rule}; } }`).unread;
    expect(bridge('counter')).toEqual([]);
    expect(bridge('drop')).toMatchObject([
      { reason: 'the bridge hook forward is outside the paths that are followed' },
    ]);
  });
});

describe('translation', () => {
  const nat = (rules: string, hook = 'prerouting', priority = 'dstnat'): string =>
    `table inet n { chain p { type nat hook ${hook} priority ${priority}; policy accept;\n${rules}\n} }`;

  it('is part of the outcome, and later chains see the packet translated', () => {
    const text = `${nat('tcp dport 22 dnat ip to 10.7.0.1:2222')}\n${forward('ip daddr 10.7.0.1 tcp dport 2222 accept')}`;
    const decision = decide(policyOf(text), packet());
    expect(decision.verdict).toBe('accept');
    expect(decision.rewrites).toMatchObject([{ kind: 'dnat', ports: [2222, 2222] }]);
  });

  it('by a map gives each key its own target', () => {
    const text = nat('dnat ip to tcp dport map { 22 : 10.7.0.1, 80 : 10.7.0.2 }');
    const target = (destinationPort: number) =>
      decide(policyOf(text), packet({ destinationPort })).rewrites[0]?.addresses?.ranges[0]?.low;
    expect([target(22), target(80), target(99)]).toEqual([
      parseAddress('10.7.0.1'),
      parseAddress('10.7.0.2'),
      undefined,
    ]);
  });

  it('takes place once per hook: the first chain that translates ends all', () => {
    const text = `${nat('dnat ip to 10.7.0.2', 'prerouting', 'dstnat + 1').replace('inet n', 'inet m')}\n${nat('dnat ip to 10.7.0.1')}`;
    expect(decide(policyOf(text), packet()).rewrites).toHaveLength(1);
    expect(decide(policyOf(text), packet()).rewrites[0]!.addresses!.ranges[0]!.low).toEqual(
      parseAddress('10.7.0.1'),
    );
  });

  it('does not concern untracked packets, nor the other family', () => {
    expect(decide(policyOf(nat('dnat ip to 10.7.0.1')), packet({ state: 'untracked' })).rewrites).toEqual([]);
    expect(decide(policyOf(nat('dnat ip to 10.7.0.1')), packet(six)).rewrites).toEqual([]);
  });
});
