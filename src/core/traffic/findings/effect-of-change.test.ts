import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseAddresses } from '#core/address';
import { decide } from '../decide.ts';
import { changeSentence } from '../describe-effect.ts';
import { trafficDifference } from '../difference/difference.ts';
import { gatherChanges } from '../gathered-changes.ts';
import type { Match, Policy, Rule, Verdict } from '../policy.ts';
import { smallMatch, smallPacket } from '../small-policies.reference.ts';
import { changeEffects } from './effect-of-change.ts';

const rule = (line: number, match: Match, verdict: Verdict, file = 'f'): Rule => ({
  match,
  action: { verdict },
  origin: { file, line, text: `rule ${line}` },
});
const policy = (rules: Rule[], family: 4 | 6 = 4): Policy => ({
  unread: [],
  pipelines: [{ path: 'through', family, stages: [{ kind: 'filter', name: 'f', rules }] }],
});
const net = (text: string): Match => ({ source: parseAddresses(text)! });

describe('the effect of a changed rule', () => {
  const [three, seven, other] = [
    rule(3, net('10.1.0.0/16'), 'drop'),
    rule(7, net('10.2.0.0/16'), 'accept'),
    rule(8, net('192.0.2.0/24'), 'drop'),
  ];
  const last = rule(99, {}, 'drop');
  const added = rule(12, net('10.0.0.0/8'), 'accept');

  it('leaves out what earlier rules take, and names no others', () => {
    const difference = trafficDifference(
      policy([three, seven, other, last]),
      policy([three, seven, other, added, last]),
    );
    const [gathered] = gatherChanges(difference);
    const { effect } = gathered!;
    expect(effect).toEqual({ of: [added], taken: [three, seven], alike: [] });
    expect(changeSentence(gathered!)).toBe(
      'drop -> accept, through the device, IPv4, one row: the effect of f:12: rule 12; except what f:3 and f:7 take before',
    );
  });

  it('leaves out what the other version treats the same', () => {
    const before = policy([rule(5, net('10.9.0.0/16'), 'accept', 'old'), last]);
    const difference = trafficDifference(before, policy([added, last]));
    const closed = difference.changes.findIndex(({ changedAfter }) => changedAfter === added);
    expect(changeEffects(difference)[closed]!.alike?.map(({ origin }) => origin.line)).toEqual([5]);
  });

  // The reference is `decide`, which follows one packet through the rules with nothing clever.
  it('holds every packet that the rule matches and none of the named takes', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(smallMatch(4), fc.constantFrom<Verdict>('accept', 'drop')), { maxLength: 6 }),
        smallMatch(4),
        fc.nat(6),
        fc.array(smallPacket(4), { minLength: 60, maxLength: 60 }),
        (list, match, at, packets) => {
          const rules = list.map(([m, verdict], i) => rule(i + 1, m, verdict));
          const put = rule(50, match, 'reject');
          const after = [...rules.slice(0, at), put, ...rules.slice(at)];
          const difference = trafficDifference(policy(rules), policy(after));
          for (const { taken, of } of changeEffects(difference)) {
            expect(of).toEqual([put]);
            for (const packet of packets.map((p) => ({ ...p, path: 'through' as const }))) {
              const alone = decide(policy([put]), packet).verdict === 'reject';
              const decider = decide(policy(after), packet).rule;
              if (alone && decider !== put) expect(taken).toContain(decider);
            }
          }
        },
      ),
      { numRuns: 200 },
    );
  });
});
