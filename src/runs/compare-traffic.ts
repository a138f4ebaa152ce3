import { codeOf, TuckpointError } from '#core/errors';
import {
  differenceSentence,
  gatherRows,
  type Naming,
  rowSentence,
  type TrafficDifference,
  trafficDifference,
  translationParts,
} from '#core/traffic';
import { namingOf, policyOfCapture, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import type { Reading } from './languages.ts';

/** What the traffic comparison of two captures says, in words. */
export interface TrafficAnswer {
  /** `not read`: a changed file is in no language that is read, so what it does to traffic is not known. */
  readonly verdict: 'equal' | 'different' | 'undecided' | 'not read';
  readonly sentence: string;
  readonly rows: readonly string[];
}

/**
 * Compares the traffic of two captures of one device. Changed files with settings but no packet rules are named in
 * the sentence; a changed file that no dialect reads makes the answer `not read`.
 */
export function compareTraffic(
  before: readonly NamedFile[],
  after: readonly NamedFile[],
  reading: Reading,
): TrafficAnswer {
  const changed = changedNames(before, after);
  try {
    const [a, b] = [readCapture(before, reading), readCapture(after, reading)];
    const [then, now] = [policyOfCapture(a), policyOfCapture(b)];
    const opaque = [...new Set([...a.unread, ...b.unread].map((f) => f.name))].filter((name) =>
      changed.includes(name),
    );
    if ((then === null) !== (now === null)) {
      return notRead('Only one of the two configurations holds packet rules that a dialect reads.');
    }
    const policyFiles = new Set([...(then?.files ?? []), ...(now?.files ?? [])]);
    const aside = changed.filter((name) => !policyFiles.has(name) && !opaque.includes(name));
    if (then === null || now === null) {
      return opaque.length > 0 || aside.length > 0
        ? notRead(`No dialect found packet rules in the configuration; changed: ${changed.join(', ')}.`)
        : { verdict: 'equal', sentence: 'The configurations are the same.', rows: [] };
    }
    const difference = trafficDifference(then.policy, now.policy);
    const remarks = [
      differenceSentence(difference),
      aside.length === 0 ? null : `Also changed, settings without packet rules: ${aside.join(', ')}.`,
      opaque.length === 0 ? null : `Also changed, and not read: ${opaque.join(', ')}.`,
    ].filter((remark) => remark !== null);
    const sentence = remarks.join(' ');
    const naming = namingOf(a, b);
    if (difference.verdict === 'different')
      return { verdict: 'different', sentence, rows: rowSentences(difference, naming) };
    if (opaque.length > 0) return { verdict: 'not read', sentence, rows: [] };
    return { verdict: difference.verdict, sentence, rows: [] };
  } catch (error) {
    if (!(error instanceof TuckpointError) || codeOf(error)?.startsWith('dialects/') !== true) throw error;
    return notRead(error.text);
  }
}

function rowSentences({ rows }: TrafficDifference, naming: Naming): string[] {
  return gatherRows(rows).map((gathered) =>
    [rowSentence(gathered, naming), ...translationParts(gathered, naming)].join('; of these, '),
  );
}

function notRead(sentence: string): TrafficAnswer {
  return { verdict: 'not read', sentence, rows: [] };
}

/** Names of files that differ, in either direction. */
export function changedNames(before: readonly NamedFile[], after: readonly NamedFile[]): string[] {
  const then = new Map(before.map((f) => [f.name, f.bytes]));
  const now = new Map(after.map((f) => [f.name, f.bytes]));
  return [...new Set([...then.keys(), ...now.keys()])].filter((name) => {
    const [a, b] = [then.get(name), now.get(name)];
    return a === undefined || b === undefined || Buffer.compare(a, b) !== 0;
  });
}
