import { SecretHider } from '#core/config';
import type { Policy, Unread } from '#core/traffic';
import type { ReadCapture } from './read-capture.ts';
import { shorten } from './source/index.ts';

/**
 * A policy with the files of its capture that were not read for packet rules, so that an answer about traffic names
 * them: files that could not be read at all, and those in no known language that differ from the other capture's.
 */
export function withUnreadFiles(policy: Policy, own: ReadCapture, other: ReadCapture): Policy {
  const unread = [...refusedFiles(own), ...changedFiles(own, other)];
  return unread.length === 0 ? policy : { ...policy, unread: [...policy.unread, ...unread] };
}

function refusedFiles({ unread }: ReadCapture): Unread[] {
  return unread.flatMap(({ name, why, refusal }) =>
    refusal === null ? [] : [wholeFile(name, why, refusal.place?.line)],
  );
}

function changedFiles(own: ReadCapture, other: ReadCapture): Unread[] {
  const [here, there] = [textsOf(own), textsOf(other)];
  return [...here].flatMap(([name, text]): Unread[] => {
    const other = there.get(name);
    if (other === text) return [];
    const reason = 'the file differs from here on, and is in no language that is read for packet rules';
    return [{ file: name, ...(other === undefined ? WHOLE : firstDifference(text, other)), reason }];
  });
}

const WHOLE = { line: 1, text: 'the whole file' };

function firstDifference(text: string, other: string): Pick<Unread, 'line' | 'text' | 'whole'> {
  const [lines, others] = [text.split('\n'), other.split('\n')];
  const at = lines.findIndex((line, n) => line !== others[n]);
  if (at < 0) return { line: lines.length, text: 'the end of the file' };
  const whole = lines[at]!;
  return { line: at + 1, text: shorten(new SecretHider().text(whole).trim() || 'an empty line'), whole };
}

/** The texts of files that no dialect knows, or that are only known to be a tree of words. */
function textsOf({ unread, parts }: ReadCapture): Map<string, string> {
  const trees = parts.filter(({ dialect }) => dialect.name === 'tree').flatMap(({ files }) => files);
  const unknown = unread.flatMap(({ source }) => (source === null ? [] : [source]));
  return new Map([...trees, ...unknown].map(({ name, text }) => [name, text]));
}

function wholeFile(file: string, reason: string, line = 1): Unread {
  return { file, ...WHOLE, line, reason: reason.replace(/\.$/, '') };
}
