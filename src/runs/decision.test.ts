import { expect, test } from 'vitest';
import { decide, type Evidence } from './decision.ts';

const slots = {
  slots: [{ id: '1', release: '4.3.0', configuration: 'c', bootedWell: false }],
  running: 0,
  next: 0,
};
const well = {
  verdict: 'well',
  because: ['Nothing that was compared is worse than before.'],
  findings: [],
  booted: 'yes',
  significance: 0.01,
} as const;
const evidence: Evidence = {
  wanted: '4.3.0',
  runs: '4.3.0',
  slots,
  readings: well,
  configurationChanged: false,
  traffic: null,
};
const traffic = (verdict: 'equal' | 'different' | 'undecided' | 'not read') => ({
  configurationChanged: true,
  traffic: { verdict, sentence: `${verdict}.`, rows: [] },
});

test('an update is kept when the new release runs and nothing is worse', () => {
  expect(decide(evidence).decision).toBe('kept');
});

test('a device that runs another release than was installed goes back', () => {
  expect(decide({ ...evidence, runs: '4.2.0' })).toMatchObject({ decision: 'go back' });
});

test('a worse reading goes back and says why', () => {
  const finding = { kind: 'loss', what: 'loss towards 192.0.2.1', before: '0 %', after: '12 %' } as const;
  const findings = [
    { ...finding, judgement: 'worse', why: 'More is lost than chance explains.', decides: true },
  ] as const;
  const readings = { ...well, verdict: 'worse', findings } as const;
  const judged = decide({ ...evidence, readings });
  expect(judged.decision).toBe('go back');
  expect(judged.reason).toContain('12 %');
});

test('what cannot be told is asked, never kept and never taken back by itself', () => {
  const readings = { ...well, verdict: 'cannot tell', because: ['Memory could not be read.'] } as const;
  expect(decide({ ...evidence, readings })).toMatchObject({ decision: 'stopped' });
  expect(decide({ ...evidence, ...traffic('undecided') })).toMatchObject({ decision: 'stopped' });
  expect(decide({ ...evidence, ...traffic('not read') })).toMatchObject({ decision: 'stopped' });
});

test('an update that changes which traffic passes goes back', () => {
  expect(decide({ ...evidence, ...traffic('different') })).toMatchObject({ decision: 'go back' });
});

test('an update that rewrites its configuration without any effect on traffic is kept, and says so', () => {
  expect(decide({ ...evidence, ...traffic('equal') })).toMatchObject({
    decision: 'kept',
    reason: expect.stringContaining('changed the configuration itself') as string,
  });
});

test('proven harm outweighs what is open', () => {
  const readings = { ...well, verdict: 'worse' } as const;
  expect(decide({ ...evidence, readings, ...traffic('not read') }).decision).toBe('go back');
});
