import type { Comparison } from '#core/reading';
import { worseInWords } from '../decision.ts';
import type { Accepted } from '../facts.ts';
import type { PredictionAnswer } from './as-predicted.ts';
import type { PromisesKept } from './promises-kept.ts';

/** What a run knows when it decides on a configuration it applied. */
export interface GraftEvidence {
  readonly prediction: PredictionAnswer;
  readonly promises: PromisesKept;
  readonly readings: Comparison;
  readonly accepted: Accepted;
}

export interface GraftJudgement {
  readonly decision: 'kept' | 'went back';
  readonly reason: string;
}

/**
 * Keep, or go back. While the device waits to return by itself there is no time to ask a person, and a graft is easily
 * done again: what is not shown to be well goes back, unless the user gave the word for it beforehand. What is other
 * than predicted goes back in any case.
 */
export function decideGraft({ prediction, promises, readings, accepted }: GraftEvidence): GraftJudgement {
  const harm: string[] = [];
  if (prediction.verdict === 'other than predicted') harm.push(prediction.sentence);
  if (promises.newlyBroken.length > 0)
    harm.push(`A promise is broken on the device: ${promises.newlyBroken.join('; ')}.`);
  if (readings.verdict === 'worse' && accepted.worse !== true) harm.push(worseInWords(readings));
  if (harm.length > 0) return { decision: 'went back', reason: harm.join(' ') };

  const open: string[] = [];
  if (prediction.verdict === 'cannot tell') open.push(prediction.sentence);
  if (promises.undecided.length > 0)
    open.push(`Not decided whether it is kept: ${promises.undecided.join('; ')}.`);
  if (readings.verdict === 'cannot tell') open.push(...readings.because);
  if (open.length > 0 && accepted.unproved !== true) {
    return {
      decision: 'went back',
      reason: `No harm was found, and it is not proved to be well: ${open.join(' ')} (--accept-unproved is your word to keep it all the same.)`,
    };
  }
  const words = [
    readings.verdict === 'worse' ? `${worseInWords(readings)} You gave your word for that.` : null,
    open.length > 0 ? `You gave your word for what stays open: ${open.join(' ')}` : null,
  ].filter((word) => word !== null);
  const well = words.length === 0 ? ' No promise was broken by it, and it is as well as before.' : '';
  return {
    decision: 'kept',
    reason: `A new connection reaches the device. ${prediction.sentence}${well}${words.map((w) => ` ${w}`).join('')}`,
  };
}
