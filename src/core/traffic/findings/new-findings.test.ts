import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { nftables } from '#dialects/nftables';
import { decide } from '../decide.ts';
import type { Policy, Rule } from '../policy.ts';
import { smallPacket, smallPolicy } from '../small-policies.reference.ts';
import { newFindings } from './new-findings.ts';
import { reviewPolicy } from './review.ts';

const policy = (rules: string, chains = ''): Policy =>
  nftables.policy(
    nftables.read([
      {
        name: 'p',
        text: `table inet filter {\n${chains}\tchain forward {\n\t\ttype filter hook forward priority 0; policy drop;\n${rules}\t}\n}\n`,
      },
    ]),
  )!;
const found = (before: Policy, after: Policy) =>
  newFindings(before, after).findings.map(({ kind, rule }) => `${kind}: ${rule.origin.text}`);

describe('what a change brings that is worth a second look', () => {
  const own = '\t\tip saddr 10.1.0.0/16 tcp dport 443 accept\n';

  it('is nothing where nothing changes, however much stood there before', () => {
    expect(found(policy(own + own), policy(own + own))).toEqual([]);
  });

  it('is a rule that hides one of the device’s own', () => {
    const after = policy(`\t\tip saddr 10.0.0.0/8 drop\n${own}`);
    expect(found(policy(own), after)).toContain('never reached: ip saddr 10.1.0.0/16 tcp dport 443 accept');
  });

  it('is a rule that a new return, or a new goto, leads packets past', () => {
    const hidden = 'never reached: ip saddr 10.1.0.0/16 tcp dport 443 accept';
    const past = '\t\tip saddr 10.0.0.0/8 return\n';
    expect(found(policy(own), policy(past + own))).toContain(hidden);
    const quay = (first: string) => `\tchain quay {\n${first}${own}\t}\n`;
    const jump = '\t\tjump quay\n';
    expect(found(policy(jump, quay('')), policy(jump, quay(past)))).toContain(hidden);
    const mole = '\tchain mole {\n\t\ttcp dport 25 drop\n\t}\n';
    const away = quay('\t\tip saddr 10.0.0.0/8 goto mole\n');
    expect(found(policy(jump, mole + quay('')), policy(jump, mole + away))).toContain(hidden);
  });

  it('is a rule behind others that a return no longer leads packets past', () => {
    const drop = '\t\tip saddr 10.0.0.0/8 drop\n';
    const quay = (first: string) => `\tchain quay {\n${first}${drop}\t}\n`;
    const rules = `\t\tjump quay\n${own}`;
    const past = '\t\tip saddr 10.1.0.0/16 return\n';
    expect(found(policy(rules, quay(past)), policy(rules, quay('')))).toContain(
      'never reached: ip saddr 10.1.0.0/16 tcp dport 443 accept',
    );
  });

  it('is a rule that comes to stand where it is never reached', () => {
    const after = policy(`${own}\t\tip saddr 10.1.2.0/24 tcp dport 443 drop\n`);
    expect(found(policy(own), after)).toEqual(['never reached: ip saddr 10.1.2.0/24 tcp dport 443 drop']);
  });

  it('is an overlap with one that was there, but not where no packet passes both', () => {
    const drop = '\t\tip daddr 10.9.0.0/16 drop\n';
    expect(found(policy(own), policy(own + drop))).toContain('overlap: ip daddr 10.9.0.0/16 drop');
    const chains =
      '\tchain quay {\n\t\tip saddr 10.1.0.0/16 tcp dport 443 accept\n\t}\n\tchain mole {\n\t\tip daddr 10.9.0.0/16 drop\n\t}\n';
    const jump = '\t\tiif "a" jump quay\n';
    expect(found(policy(jump, chains), policy(`${jump}\t\tiif "b" jump mole\n`, chains))).toEqual([
      'redundant: ip daddr 10.9.0.0/16 drop',
    ]);
  });
});

// What the whole review says of both, and packets one by one, are the references.
it.each([4, 6] as const)(
  'a rule newly never reached is so by the whole review as well, for IPv%i',
  (family) => {
    fc.assert(
      fc.property(
        smallPolicy(family),
        smallPolicy(family),
        fc.array(smallPacket(family), { minLength: 40 }),
        (a, b, packets) => {
          const [before, after] = [worded(a), worded(b)];
          const never = newFindings(before, after).findings.filter(({ kind }) => kind === 'never reached');
          const whole = reviewPolicy(after).findings.filter(({ kind }) => kind === 'never reached');
          for (const { rule } of never) expect(whole.map((f) => f.rule.origin)).toContainEqual(rule.origin);
          const places = new Set(never.map(({ rule }) => rule.origin.line));
          for (const packet of packets)
            for (const { rule } of decide(after, packet).trace)
              expect(places.has(rule.origin.line)).toBe(false);
          // Complete: what the whole review newly says is among it.
          const old = new Set(reviewPolicy(before).findings.map((f) => `${f.kind} ${f.rule.origin.text}`));
          const fresh = whole.filter((f) => !old.has(`${f.kind} ${f.rule.origin.text}`));
          const texts = never.map(({ rule }) => rule.origin.text);
          for (const { rule } of fresh) expect(texts).toContain(rule.origin.text);
        },
      ),
      { numRuns: 60 },
    );
  },
);

it.each([4, 6] as const)(
  'of the rules that were there, each newly never reached is found, for IPv%i',
  (family) => {
    let found = 0;
    fc.assert(
      fc.property(smallPolicy(family), smallPolicy(family), fc.nat(), fc.boolean(), (a, b, pick, past) => {
        const before = named(a, 'a');
        const after = withFirst(before, b, pick, past);
        const unreached = (policy: Policy) =>
          reviewPolicy(policy)
            .findings.filter(({ kind, rule }) => kind === 'never reached' && !('skip' in rule.action))
            .map(({ rule }) => rule.origin.text);
        const old = new Set(unreached(before));
        const fresh = unreached(after).filter((text) => !old.has(text));
        const ours = newFindings(before, after).findings.filter(({ kind }) => kind === 'never reached');
        for (const text of fresh) expect(ours.map(({ rule }) => rule.origin.text)).toContain(text);
        found += fresh.length;
      }),
      { numRuns: 150 },
    );
    expect(found).toBeGreaterThan(0);
  },
);

/** The policy with a rule of another put first in one of its stages of the same kind; `past`: it leads past the next. */
function withFirst(policy: Policy, other: Policy, pick: number, past: boolean): Policy {
  const donors = other.pipelines.flatMap(({ stages }) =>
    stages.flatMap(({ kind, rules }) =>
      rules.filter(({ action }) => !('skip' in action)).map((rule) => ({ kind, rule })),
    ),
  );
  const donor = donors[pick % Math.max(1, donors.length)];
  if (donor === undefined) return policy;
  const rule = { ...donor.rule, origin: { file: 'b', line: 1, text: 'the new one' } };
  const stages = policy.pipelines.flatMap((p) => p.stages).filter(({ kind }) => kind === donor.kind);
  const into = stages[pick % Math.max(1, stages.length)];
  const shifted = (action: Rule['action']) => ('skip' in action ? { skip: action.skip + 1 } : action);
  return {
    ...policy,
    pipelines: policy.pipelines.map((pipeline) => ({
      ...pipeline,
      stages: pipeline.stages.map((stage) =>
        stage.name !== into?.name
          ? stage
          : {
              ...stage,
              rules: [
                past ? leadingPast(rule, stage.rules.length, pick) : rule,
                ...stage.rules.map((r) => ({ ...r, action: shifted(r.action) })),
              ],
            },
      ),
    })),
  };
}

/** A rule in front of `others`, which leads past at least one of them. */
const leadingPast = (rule: Rule, others: number, pick: number): Rule =>
  others === 0 ? rule : { ...rule, action: { skip: 2 + (pick % others) } };

/** Rules with a text of their own in their policy. */
const named = (policy: Policy, file: string): Policy =>
  withOrigins(policy, (rule, line) => ({
    file,
    line,
    text: `${line} ${JSON.stringify([rule.match, rule.action])}`,
  }));

/** Rules with the text that a file has: the same where they stand elsewhere, or call a chain that grew. */
const worded = (policy: Policy): Policy =>
  withOrigins(policy, ({ match, action }, line) => ({
    file: 'a',
    line,
    text: JSON.stringify([match, 'skip' in action ? 'skip' : action]),
  }));

function withOrigins(policy: Policy, originOf: (rule: Rule, line: number) => Rule['origin']): Policy {
  let line = 0;
  return {
    ...policy,
    pipelines: policy.pipelines.map((pipeline) => ({
      ...pipeline,
      stages: pipeline.stages.map((stage) => ({
        ...stage,
        rules: stage.rules.map((rule) => ({ ...rule, origin: originOf(rule, ++line) })),
      })),
    })),
  };
}
