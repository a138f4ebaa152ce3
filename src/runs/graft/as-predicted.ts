import type { ObjectChange } from '#core/config';
import { codeOf, TuckpointError } from '#core/errors';
import { compareCaptures, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import { changedNames, compareTraffic } from '../compare-traffic.ts';
import type { Reading } from '../languages.ts';

/** Does the device hold what was predicted? `cannot tell`: it wrote a file otherwise, and nobody here reads that file. */
export interface PredictionAnswer {
  readonly verdict: 'as predicted' | 'other than predicted' | 'cannot tell';
  /** One sentence, or two. */
  readonly sentence: string;
}

/** How many differing objects are named. */
const NAMED = 3;

/**
 * Compares what was read back from a device with the files that were predicted: byte for byte, and where a device
 * writes a file in its own words, object by object and by the traffic both let pass. The predicted files were
 * themselves read back and found to be as planned before anything was sent.
 */
export function comparePrediction(
  predicted: readonly NamedFile[],
  found: readonly NamedFile[],
  reading: Reading,
): PredictionAnswer {
  const changed = changedNames(predicted, found);
  if (changed.length === 0)
    return { verdict: 'as predicted', sentence: 'The device holds what was predicted, byte for byte.' };
  const own = `The device wrote ${changed.join(', ')} otherwise than predicted`;
  try {
    const [a, b] = [readCapture(predicted, reading), readCapture(found, reading)];
    const objects = compareCaptures(a, b);
    const changes = objects.parts.flatMap(({ difference }) => difference.changes.map(nameOf));
    const opaque = objects.parts.reduce((sum, { difference }) => sum + difference.opaque.length, 0);
    if (changes.length > 0) {
      const more = changes.length > NAMED ? `, and ${changes.length - NAMED} more` : '';
      return other(`${own}: ${changes.slice(0, NAMED).join('; ')}${more}.`);
    }
    const traffic = compareTraffic(predicted, found, reading);
    if (traffic.verdict === 'different') return other(`${own}: ${traffic.sentence}`);
    const unread = objects.unread.map(({ name }) => name).filter((name) => changed.includes(name));
    if (unread.length > 0 || opaque > 0 || traffic.verdict !== 'equal') {
      const why =
        unread.length > 0 ? `nobody here reads ${unread.join(', ')}` : 'not all of it is understood';
      return { verdict: 'cannot tell', sentence: `${own}, and ${why}.` };
    }
    return {
      verdict: 'as predicted',
      sentence: `${own}, in its own words: no object and no traffic differs.`,
    };
  } catch (error) {
    if (!(error instanceof TuckpointError) || codeOf(error)?.startsWith('dialects/') !== true) throw error;
    return { verdict: 'cannot tell', sentence: `${own}, and it cannot be read: ${error.text}` };
  }
}

function other(sentence: string): PredictionAnswer {
  return { verdict: 'other than predicted', sentence };
}

function nameOf({ change, kind, before, after }: ObjectChange): string {
  return `${kind} ${(after ?? before)?.name ?? ''} ${change}`;
}
