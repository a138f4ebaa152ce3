import fc from 'fast-check';
import { type AddressSet, addressSet, type Family, type NumberSet, numberSet } from '#core/address';
import { hasPorts, icmpProtocol, type Packet } from './packet.ts';
import type {
  Action,
  Condition,
  InterfaceSet,
  Match,
  Path,
  Pipeline,
  Policy,
  Rewrite,
  Rule,
  Stage,
} from './policy.ts';

/**
 * Policies over a world small enough to try by hand: eight addresses, six ports, four protocols, two states, a few
 * interfaces and two conditions; but with everything a policy can hold: skips, several base chains, NAT, pools, redirects.
 */
const word = (family: Family, n: number) =>
  family === 4 ? [0x0a00_0000 + n] : [0x2001_0db8, 0, n >> 2, n & 3];

const addresses = (family: Family): fc.Arbitrary<AddressSet> =>
  fc.array(fc.tuple(fc.nat(7), fc.nat(7)), { minLength: 1, maxLength: 2 }).map((pairs) =>
    addressSet(
      family,
      pairs.map(([a, b]) => ({ low: word(family, Math.min(a, b)), high: word(family, Math.max(a, b)) })),
    ),
  );

const ports: fc.Arbitrary<NumberSet> = fc
  .array(fc.tuple(fc.nat(5), fc.nat(5)), { minLength: 1, maxLength: 2 })
  .map((pairs) => numberSet(pairs.map(([a, b]) => [Math.min(a, b), Math.max(a, b)])));

const interfaces: fc.Arbitrary<InterfaceSet> = fc.record(
  {
    names: fc.subarray(['lan0', 'lan1', 'wan0', 'lan*', 'lan1*', ''], { minLength: 1, maxLength: 2 }),
    except: fc.boolean(),
  },
  { requiredKeys: ['names'] },
);

const conditions: fc.Arbitrary<Condition[]> = fc
  .record({ name: fc.constantFrom('mark 1', 'limit rate 5/second #1'), holds: fc.boolean() })
  .map((condition) => [condition]);

const rarely = <T>(arbitrary: fc.Arbitrary<T>) => fc.option(arbitrary, { nil: undefined, freq: 1 });
const often = <T>(arbitrary: fc.Arbitrary<T>) => fc.option(arbitrary, { nil: undefined, freq: 2 });

export const smallMatch = (family: Family): fc.Arbitrary<Match> =>
  fc
    .record({
      inInterface: rarely(interfaces),
      outInterface: rarely(interfaces),
      source: often(addresses(family)),
      destination: often(addresses(family)),
      protocol: often(fc.constantFrom([6, 6], [17, 17], [1, 1], [6, 17], [0, 46], [58, 58])),
      sourcePort: rarely(ports),
      destinationPort: often(ports),
      icmp: rarely(fc.constantFrom([0, 1], [2, 3], [0, 255])),
      states: rarely(fc.constantFrom(['new'] as const, ['established', 'related'] as const)),
      conditions: rarely(conditions),
    })
    .map((raw) => {
      const entries = Object.entries(raw).filter(([, value]) => value !== undefined);
      // Most rules are about ports or about ICMP: both at once never match, and would make dull policies.
      const drop = raw.destinationPort === undefined ? 'sourcePort' : 'icmp';
      return Object.fromEntries(entries.filter(([key]) => key !== drop)) as Match;
    });

const verdict: fc.Arbitrary<Action> = fc.constantFrom(
  { verdict: 'accept' as const },
  { verdict: 'accept' as const },
  { verdict: 'drop' as const },
  { verdict: 'reject' as const },
);

const rewrite = (family: Family): fc.Arbitrary<Rewrite> =>
  fc
    .record({
      kind: fc.constantFrom('dnat' as const, 'snat' as const, 'masquerade' as const, 'redirect' as const),
      addresses: often(addresses(family)),
      ports: rarely(ports),
    })
    .map(({ kind, addresses: to, ports: p }) => ({
      kind,
      ...(to !== undefined && { addresses: to }),
      ...(p !== undefined && { ports: p }),
    }));

const rules = (family: Family, actions: fc.Arbitrary<Action>, most: number): fc.Arbitrary<Rule[]> =>
  fc
    .array(fc.tuple(smallMatch(family), actions, fc.integer({ min: 1, max: 3 }), fc.nat(3)), {
      maxLength: most,
    })
    .map((list) =>
      list.map(([m, action, hop, chance], i): Rule => {
        const skip = Math.min(i + 1 + hop, list.length);
        const jumps = chance === 0 && !('rewrite' in action);
        return {
          match: m,
          action: jumps ? { skip } : action,
          origin: { file: 'small', line: i + 1, text: `rule ${i + 1}` },
        };
      }),
    );

const stage = (kind: Stage['kind'], name: string, list: fc.Arbitrary<Rule[]>): fc.Arbitrary<Stage> =>
  list.map((r) => ({ kind, name, rules: r }));

const stages = (family: Family): fc.Arbitrary<Stage[]> =>
  fc
    .record({
      raw: rarely(stage('filter', 'raw', rules(family, verdict, 3))),
      pre: often(
        stage(
          'nat',
          'prerouting',
          rules(
            family,
            fc.oneof(
              verdict,
              rewrite(family).map((r) => ({ rewrite: r })),
            ),
            3,
          ),
        ),
      ),
      filter: stage('filter', 'filter', rules(family, verdict, 8)),
      post: often(
        stage(
          'nat',
          'postrouting',
          rules(
            family,
            rewrite(family).map((r) => ({ rewrite: r })),
            3,
          ),
        ),
      ),
    })
    .map(({ raw, pre, filter, post }) => [raw, pre, filter, post].filter((s) => s !== undefined));

const pipeline = (path: Path, family: Family): fc.Arbitrary<Pipeline> =>
  stages(family).map((list) => ({ path, family, stages: list }));

/** Through- and to-traffic of one family. */
export const smallPolicy = (family: Family): fc.Arbitrary<Policy> =>
  fc
    .tuple(pipeline('through', family), pipeline('to', family))
    .map((pipelines) => ({ pipelines, unread: [] }));

/** The same policy with a few rules dropped, doubled, moved or turned round. */
const edited = (policy: Policy): fc.Arbitrary<Policy> =>
  fc
    .array(fc.tuple(fc.nat(), fc.nat(), fc.nat(), fc.nat(), fc.nat(4)), { minLength: 1, maxLength: 3 })
    .map((edits) => edits.reduce((p, [a, b, c, d, kind]) => edit(p, a, b, c, d, kind), policy));

function edit(policy: Policy, a: number, b: number, c: number, d: number, kind: number): Policy {
  const pipelineAt = a % policy.pipelines.length;
  const { stages: list } = policy.pipelines[pipelineAt]!;
  const stageAt = b % list.length;
  const old = list[stageAt]!;
  if (old.rules.length === 0) return policy;
  const at = c % old.rules.length;
  const rule = old.rules[at]!;
  let next = [...old.rules];
  if (kind === 0) next.splice(at, 1);
  else if (kind === 1) next.splice(d % next.length, 0, rule);
  else if (kind === 2) next.splice(d % next.length, 0, ...next.splice(at, 1));
  else if (kind === 3 && 'verdict' in rule.action) {
    next[at] = { ...rule, action: { verdict: rule.action.verdict === 'accept' ? 'drop' : 'accept' } };
  } else next[at] = { ...rule, match: old.rules[d % next.length]!.match };
  // Skips stay forward and inside, whatever the edit did.
  next = next.map((r, i) =>
    'skip' in r.action
      ? { ...r, action: { skip: Math.min(next.length, Math.max(i + 1, r.action.skip)) } }
      : r,
  );
  const withStage = list.map((s, i) => (i === stageAt ? { ...s, rules: next } : s));
  return {
    ...policy,
    pipelines: policy.pipelines.map((p, i) => (i === pipelineAt ? { ...p, stages: withStage } : p)),
  };
}

/** Two policies, mostly nearly equal, now and then unrelated. */
export const policyPair = (family: Family): fc.Arbitrary<[Policy, Policy]> =>
  fc.oneof(
    {
      weight: 4,
      arbitrary: smallPolicy(family).chain((p) => edited(p).map((q): [Policy, Policy] => [p, q])),
    },
    { weight: 1, arbitrary: fc.tuple(smallPolicy(family), smallPolicy(family)) },
  );

const conditionNames = ['mark 1', 'limit rate 5/second #1'];

/** Packets of that world, a step beyond its borders included. */
export const smallPacket = (family: Family): fc.Arbitrary<Packet> =>
  fc
    .record({
      path: fc.constantFrom('through' as const, 'through' as const, 'to' as const),
      inInterface: fc.constantFrom('lan0', 'lan1', 'lan2', 'lan17', 'wan0', 'dmz0'),
      outInterface: fc.constantFrom('lan0', 'lan1', 'lan2', 'lan17', 'wan0', 'dmz0'),
      source: fc.integer({ min: 0, max: 8 }).map((n) => word(family, n)),
      destination: fc.integer({ min: 0, max: 8 }).map((n) => word(family, n)),
      protocol: fc.constantFrom(6, 17, 1, 47, 58, 132),
      sourcePort: fc.nat(6),
      destinationPort: fc.nat(6),
      icmpCode: fc.nat(4),
      state: fc.constantFrom('new' as const, 'established' as const, 'invalid' as const),
      conditions: fc.subarray(conditionNames),
    })
    .map(({ sourcePort, destinationPort, icmpCode, ...rest }) => ({
      ...rest,
      family,
      outInterface: rest.path === 'to' ? '' : rest.outInterface,
      ...(hasPorts(rest.protocol) && { sourcePort, destinationPort }),
      ...(rest.protocol === icmpProtocol(family) && { icmpType: 0, icmpCode }),
    }));
