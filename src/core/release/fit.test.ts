import { describe, expect, it } from 'vitest';
import { type FitDevice, fit as fitOf, type ReleaseSheet } from './index.ts';

const sheet: ReleaseSheet = {
  release: '4.2.0',
  models: ['Groyne 40', 'Groyne 200'],
  from: '4.0.0',
  files: [{ name: 'groyne-4.2.0.img', size: 1, sha256: '00'.repeat(32) }],
};
const judge = (device: Partial<FitDevice>, changed: Partial<ReleaseSheet> = {}) => {
  const { verdict, reasons } = fitOf(
    { ...sheet, ...changed },
    { model: 'Groyne 40', release: '4.1.3', ...device },
  );
  return { verdict, codes: reasons.map((r) => r.code), sentences: reasons.map((r) => r.sentence) };
};

describe('the fit of a release (rules: common practice, no source)', () => {
  it('fits a named model on an older release that is new enough to come from', () => {
    expect(judge({})).toEqual({
      verdict: 'fits',
      codes: ['model-named', 'newer', 'from-reached'],
      sentences: [
        'The release names the model Groyne 40.',
        '4.2.0 is newer than 4.1.3.',
        'The device runs 4.1.3; the release takes 4.0.0 or newer.',
      ],
    });
  });

  it('does not fit another model', () => {
    const { verdict, sentences } = judge({ model: 'Groyne V' });
    expect(verdict).toBe('does not fit');
    expect(sentences[0]).toBe('The release is for Groyne 40 and Groyne 200; the device is a Groyne V.');
  });

  it('does not fit a device that runs something too old to come from', () => {
    expect(judge({ release: '3.9.9' })).toMatchObject({
      verdict: 'does not fit',
      codes: ['model-named', 'newer', 'from-too-old'],
    });
  });

  it('does not fit a device that runs it already, or something newer', () => {
    expect(judge({ release: '4.2' })).toMatchObject({ verdict: 'does not fit' });
    expect(judge({ release: '4.2' }).codes).toContain('same-release');
    expect(judge({ release: '4.10.0' }).codes).toContain('older-release');
    expect(judge({ release: '4.2.0-rc1' }).verdict).toBe('fits');
  });

  it('cannot be told while the model or the release of the device is unknown', () => {
    expect(judge({ model: null }).verdict).toBe('cannot tell');
    expect(judge({ release: null }).verdict).toBe('cannot tell');
    expect(judge({ release: 'unreadable' })).toMatchObject({
      verdict: 'cannot tell',
      codes: ['model-named', 'order-unknown', 'release-unknown'],
    });
  });

  it('does not fit a wrong model even where the release is unknown', () => {
    expect(judge({ model: 'Groyne V', release: null }).verdict).toBe('does not fit');
  });

  it('lists limitations without judging them, and says when no oldest release is stated', () => {
    const { from: _, ...open } = sheet;
    const { verdict, reasons } = fitOf(
      { ...open, limitations: ['Sessions are lost.'] },
      { model: 'Groyne 40', release: '1.0' },
    );
    expect(verdict).toBe('fits');
    expect(reasons.filter((r) => r.weighs === 'note').map((r) => r.code)).toEqual([
      'from-not-stated',
      'limitation',
    ]);
  });
});
