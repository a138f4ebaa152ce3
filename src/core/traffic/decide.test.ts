import { describe, expect, it } from 'vitest';
import { numbers, parseAddress, parseAddresses } from '#core/address';
import { decide } from './decide.ts';
import type { Packet } from './packet.ts';
import type { Action, Match, Policy, Rule, Stage } from './policy.ts';

let line = 0;
const rule = (match: Match, action: Action): Rule => {
  line++;
  return { match, action, origin: { file: 'gate.rules', line, text: `rule ${line}` } };
};
const accept: Action = { verdict: 'accept' };
const drop: Action = { verdict: 'drop' };
const through = (...stages: Stage[]): Policy => ({
  pipelines: [{ path: 'through', family: 4, stages }],
  unread: [],
});
const filter = (...rules: Rule[]): Stage => ({ kind: 'filter', name: 'forward', rules });

const web: Packet = {
  path: 'through',
  family: 4,
  inInterface: 'wan0',
  outInterface: 'dmz0',
  source: parseAddress('198.51.100.7')!,
  destination: parseAddress('203.0.113.80')!,
  protocol: 6,
  sourcePort: 40000,
  destinationPort: 443,
  state: 'new',
};
const https = { destinationPort: numbers(443) };

// The semantics are those of the Linux packet filter as nft(8) describes verdicts and base chains; tests in the
// lab send packets through the kernel to compare.
describe('a packet on its way', () => {
  it('is decided by the first rule that matches', () => {
    const first = rule(https, accept);
    expect(decide(through(filter(first, rule({}, drop))), web)).toMatchObject({
      verdict: 'accept',
      rule: first,
    });
    expect(decide(through(filter(rule({}, drop), first)), web).verdict).toBe('drop');
  });

  it('passes a policy that says nothing about its path', () => {
    expect(decide({ pipelines: [], unread: [] }, web)).toMatchObject({ verdict: 'accept', rule: undefined });
  });

  it('is not caught by a port when its protocol has none', () => {
    const policy = through(filter(rule(https, drop)));
    expect(decide(policy, { ...web, protocol: 47 }).verdict).toBe('accept');
  });

  it('is caught by an ICMP type only as ICMP of its own family', () => {
    const policy = through(filter(rule({ icmp: [8 * 256, 8 * 256 + 255] }, drop)));
    expect(decide(policy, { ...web, protocol: 1, icmpType: 8 }).verdict).toBe('drop');
    expect(decide(policy, { ...web, protocol: 1, icmpType: 0 }).verdict).toBe('accept');
    expect(decide(policy, { ...web, protocol: 58, icmpType: 8 }).verdict).toBe('accept');
  });

  it('leaves one base chain by accept and can still be dropped by the next', () => {
    const policy = through(filter(rule({}, accept)), { ...filter(rule(https, drop)), name: 'late' });
    expect(decide(policy, web).verdict).toBe('drop');
    expect(decide(policy, { ...web, destinationPort: 80 }).verdict).toBe('accept');
  });

  it('skips what a jump does not take', () => {
    const policy = through(filter(rule(https, { skip: 2 }), rule({}, drop), rule({}, accept)));
    expect(decide(policy, web).trace.map((step) => step.index)).toEqual([0, 2]);
    expect(decide(policy, { ...web, destinationPort: 80 }).verdict).toBe('drop');
  });

  it('is filtered with its translated destination', () => {
    const inner = parseAddresses('10.1.0.80')!;
    const nat: Stage = {
      kind: 'nat',
      name: 'prerouting',
      rules: [rule(https, { rewrite: { kind: 'dnat', addresses: inner, ports: numbers(8443) } })],
    };
    const open = rule({ destination: inner, destinationPort: numbers(8443) }, accept);
    const policy = through(nat, filter(open, rule({}, drop)));
    const decision = decide(policy, web);
    expect(decision).toMatchObject({ verdict: 'accept', rule: open });
    expect(decision.rewrites).toHaveLength(1);
    expect(decide(policy, { ...web, destinationPort: 80 }).verdict).toBe('drop');
  });

  it('goes to the device itself once it is redirected', () => {
    const redirect: Stage = {
      kind: 'nat',
      name: 'prerouting',
      rules: [rule(https, { rewrite: { kind: 'redirect', ports: numbers(3129) } })],
    };
    const policy: Policy = {
      unread: [],
      pipelines: [
        { path: 'through', family: 4, stages: [redirect, filter(rule({}, drop))] },
        {
          path: 'to',
          family: 4,
          stages: [redirect, filter(rule({ destinationPort: numbers(3129) }, accept), rule({}, drop))],
        },
      ],
    };
    expect(decide(policy, web).verdict).toBe('accept');
    expect(decide(policy, { ...web, destinationPort: 80 }).verdict).toBe('drop');
  });

  it('says which conditions were taken as not holding', () => {
    const policy = through(
      filter(rule({ conditions: [{ name: 'limit rate 5/second #1', holds: true }] }, accept), rule({}, drop)),
    );
    expect(decide(policy, web)).toMatchObject({ verdict: 'drop', assumed: ['limit rate 5/second #1'] });
    expect(decide(policy, { ...web, conditions: ['limit rate 5/second #1'] }).verdict).toBe('accept');
  });

  it('asks about the address that a pool may choose', () => {
    const nat: Stage = {
      kind: 'nat',
      name: 'prerouting',
      rules: [rule({}, { rewrite: { kind: 'dnat', addresses: parseAddresses('10.1.0.80-10.1.0.83')! } })],
    };
    const within = through(nat, filter(rule({ destination: parseAddresses('10.1.0.0/16')! }, drop)));
    expect(decide(within, web)).toMatchObject({ verdict: 'drop', assumed: [] });
    const partly = through(nat, filter(rule({ destination: parseAddresses('10.1.0.80')! }, drop)));
    const { verdict, assumed } = decide(partly, web);
    expect(verdict).toBe('accept');
    expect(assumed).toHaveLength(1);
    expect(decide(partly, { ...web, conditions: assumed }).verdict).toBe('drop');
  });
});
