import { describe, expect, it } from 'vitest';
import { parseAddresses } from '#core/address';
import type { Action, Match, Path, Policy, Rule, Stage } from '../policy.ts';
import { anyToAny } from './any-to-any.ts';

const rule = (line: number, match: Match, action: Action): Rule => ({
  match,
  action,
  origin: { file: 'f', line, text: `rule ${line}` },
});
const accept: Action = { verdict: 'accept' };
const drop: Action = { verdict: 'drop' };
const filter = (name: string, ...rules: Rule[]): Stage => ({ kind: 'filter', name, rules });
const policy = (path: Path, ...stages: Stage[]): Policy => ({
  pipelines: [{ path, family: 4, stages }],
  unread: [],
});
const linesOf = (one: Policy) => anyToAny(one).map(({ rule: { origin } }) => origin.line);

const guests: Match = { inInterface: { names: ['guest0'] } };
const answers: Match = { states: ['established', 'related'] };
const mole: Match = { source: parseAddresses('10.3.0.0/16')! };

describe('what lets pass from anywhere to anywhere', () => {
  it('is a rule without limits, whatever is refused before it', () => {
    const list = filter(
      'f',
      rule(1, answers, accept),
      rule(2, mole, drop),
      rule(3, {}, accept),
      rule(4, {}, drop),
    );
    expect(linesOf(policy('through', list))).toEqual([3]);
    expect(linesOf(policy('to', list))).toEqual([3]);
    const stated = filter('f', rule(1, { states: ['new', 'established'] }, accept), rule(2, {}, drop));
    expect(linesOf(policy('through', stated))).toEqual([1]);
  });

  it('is none in a chain that only some packets enter', () => {
    // iifname "guest0" jump guests, where guests holds rule 3.
    const list = filter(
      'f',
      rule(1, guests, { skip: 2 }),
      rule(1, {}, { skip: 3 }),
      rule(3, {}, accept),
      rule(4, {}, drop),
    );
    expect(linesOf(policy('through', list))).toEqual([]);
    // ip saddr 10.3.0.0/16 return, in a chain that all packets enter.
    const left = filter('f', rule(1, mole, { skip: 2 }), rule(2, {}, accept), rule(3, {}, drop));
    expect(linesOf(policy('through', left))).toEqual([2]);
  });

  it('is none where another chain on the way refuses the rest', () => {
    const raw = filter('raw', rule(1, mole, drop), rule(2, {}, accept));
    const closed = filter('f', rule(3, mole, accept), rule(4, {}, drop));
    const open = filter('f', rule(3, mole, drop), rule(4, {}, accept));
    const bare = filter('bare', rule(5, {}, accept));
    expect(linesOf(policy('through', raw, closed))).toEqual([]);
    expect(linesOf(policy('through', raw, open))).toEqual([2, 4]);
    expect(linesOf(policy('through', open, bare))).toEqual([4]);
    expect(linesOf(policy('through', bare))).toEqual([5]);
  });

  it('is not looked for in what the device itself sends', () => {
    expect(linesOf(policy('from', filter('f', rule(1, {}, accept))))).toEqual([]);
  });
});
