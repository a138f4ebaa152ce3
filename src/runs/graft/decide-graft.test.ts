import { describe, expect, test } from 'vitest';
import type { Comparison } from '#core/reading';
import type { PredictionAnswer } from './as-predicted.ts';
import { decideGraft, type GraftEvidence } from './decide-graft.ts';

const prediction: PredictionAnswer = { verdict: 'as predicted', sentence: 'As predicted.' };
const promises = { checked: 2, broken: [], newlyBroken: [], undecided: [], notChecked: [] };
const reading = (verdict: Comparison['verdict']): Comparison => ({
  verdict,
  because: verdict === 'well' ? [] : ['memory: 1 -> not read.'],
  findings: [
    {
      kind: 'loss',
      what: 'loss towards inside-host',
      before: '0 of 100',
      after: '40 of 100',
      judgement: verdict === 'worse' ? 'worse' : 'same',
      why: '',
      decides: true,
    },
  ],
  booted: 'no',
  significance: 0.01,
});
const well: GraftEvidence = { prediction, promises, readings: reading('well'), accepted: {} };
const other: PredictionAnswer = { verdict: 'other than predicted', sentence: 'It holds something else.' };
const open: PredictionAnswer = { verdict: 'cannot tell', sentence: 'Nobody reads banner.txt.' };

/** The idea of a confirmed commit (RFC 6241 section 8.4): what is not confirmed goes back. */
describe('A graft', () => {
  test('is kept when all is as predicted and as well as before', () => {
    expect(decideGraft(well)).toMatchObject({ decision: 'kept' });
  });

  test.each<[string, Partial<GraftEvidence>]>([
    ['the device holds something else than predicted', { prediction: other }],
    ['what it holds cannot be read', { prediction: open }],
    ['a promise is broken', { promises: { ...promises, newlyBroken: ['Tickets'] } }],
    ['a promise is not decided', { promises: { ...promises, undecided: ['Tickets'] } }],
    ['the reading is worse', { readings: reading('worse') }],
    ['the readings cannot be compared', { readings: reading('cannot tell') }],
  ])('goes back when %s', (_, evidence) => {
    expect(decideGraft({ ...well, ...evidence }).decision).toBe('went back');
  });

  test('is kept by a word given beforehand, and says which', () => {
    const unproved = { accepted: { unproved: true } };
    for (const evidence of [{ prediction: open }, { readings: reading('cannot tell') }]) {
      const judged = decideGraft({ ...well, ...unproved, ...evidence });
      expect(judged.decision).toBe('kept');
      expect(judged.reason).toContain('You gave your word');
    }
    const worse = decideGraft({ ...well, readings: reading('worse'), accepted: { worse: true } });
    expect(worse.decision).toBe('kept');
    expect(worse.reason).toContain('loss towards inside-host');
  });

  test('that is other than predicted goes back whatever words were given', () => {
    const accepted = { unproved: true, worse: true, brokenPromises: true, noReturn: true, warnings: true };
    expect(decideGraft({ ...well, prediction: other, accepted }).decision).toBe('went back');
  });
});
