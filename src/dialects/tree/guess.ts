import type { TreeFormat } from './node.ts';

export interface FormatGuess {
  readonly format: TreeFormat;
  /** 0 (surely not) to 1 (surely). */
  readonly confidence: number;
}

/** Guesses the format from the first 64 KiB, surest first. The formats are told apart by how their lines end and begin. */
export function guessFormat(text: string): FormatGuess[] {
  const head = text.slice(0, 65_536).replace(/^\ufeff/, '');
  const lines = head.split(/\r?\n/).filter((line) => line.trim() !== '');
  const ink = lines.filter((line) => !/^\s*(?:#|;|!|\/\/|\/?\*)/.test(line));
  const share = (pattern: RegExp) =>
    ink.length === 0 ? 0 : ink.filter((line) => pattern.test(line)).length / ink.length;

  const guesses: FormatGuess[] = [
    { format: 'xml', confidence: /^\s*<(?:\?xml|!--|!DOCTYPE|[A-Za-z_])/.test(head) ? 0.99 : 0 },
    {
      format: 'json',
      confidence: /^\s*(?:\{\s*["}]|\[\s*(?:[[{"\]]|-?\d|true|false|null))/.test(head) ? 0.98 : 0,
    },
    { format: 'ini', confidence: iniConfidence(share) },
    { format: 'braces', confidence: bracesConfidence(share, head) },
    { format: 'indentation', confidence: indentationConfidence(ink, share) },
  ];
  return guesses.sort((a, b) => b.confidence - a.confidence);
}

type Share = (pattern: RegExp) => number;

function iniConfidence(share: Share): number {
  const sections = share(/^\s*\[[^\]{}]+\]\s*$/);
  const keys = share(/^\s*[^=\s[{][^={]*=(?!.*\{\s*$)/);
  return sections > 0 ? Math.min(0.97, 0.4 + 0.6 * (sections + keys)) : 0.5 * keys;
}

function bracesConfidence(share: Share, head: string): number {
  if (!head.includes('{') || !head.includes('}')) return 0;
  const blocks = share(/\{\s*(?:#.*|\/\/.*)?$|^\s*\}|\{.*\}\s*;?\s*$/);
  const ends = share(/;\s*(?:#.*|\/\/.*)?$/);
  return Math.min(0.95, blocks * 1.5 + ends * 0.6);
}

function indentationConfidence(ink: readonly string[], share: Share): number {
  if (ink.length === 0) return 0;
  const indented = share(/^[ \t]+\S/);
  const words = share(/^\s*[\w.:-]+(?:[ \t]+[^{};=]+)?:?\s*$/);
  return indented > 0 ? Math.min(0.85, 0.3 + 0.6 * words * (indented > 0.1 ? 1 : 0.7)) : 0.3 * words;
}
