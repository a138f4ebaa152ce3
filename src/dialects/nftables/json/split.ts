import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import { Lines } from '../../source/index.ts';

/** One object of the `nftables` list, with its place. */
export interface Item {
  readonly start: number;
  readonly end: number;
  readonly value: unknown;
}

const DEEPEST = 64;

/** Does the file look like what `nft -j` prints? */
export function isJsonRuleset(file: SourceFile): boolean {
  return /^\uFEFF?\s*\{\s*"nftables"\s*:\s*\[/.test(file.text.slice(0, 2000));
}

/**
 * The objects of the `nftables` list one by one, each with its offsets, so that rules have lines.
 * @throws TuckpointError `dialects/truncated`, `dialects/too-deep`, `dialects/not-json`.
 */
export function* splitItems(file: SourceFile): Generator<Item> {
  const { text } = file;
  const place = (offset: number) => ({ file: file.name, line: new Lines(file).lineAt(offset) });
  let depth = 0;
  let start = -1;
  for (let at = 0; at < text.length; at++) {
    const code = text.charCodeAt(at);
    if (code === 34) {
      at = endOfString(text, at);
      continue;
    }
    if (code === 123 || code === 91) {
      if (depth === 2) start = at;
      if (++depth > DEEPEST) {
        throw new TuckpointError('dialects/too-deep', `Brackets are nested more than ${DEEPEST} deep.`, {
          place: place(at),
          advice: 'Check that the file is what nft -j list ruleset printed.',
        });
      }
    } else if (code === 125 || code === 93) {
      depth--;
      if (depth === 2 && start >= 0) {
        yield { start, end: at + 1, value: parse(text.slice(start, at + 1), () => place(start)) };
        start = -1;
      }
      if (depth === 0) return;
    }
  }
  throw new TuckpointError('dialects/truncated', 'The JSON ends before its brackets are closed.', {
    place: place(text.length),
    advice: 'Check that the file was transferred whole.',
  });
}

function endOfString(text: string, start: number): number {
  let at = start + 1;
  while (at < text.length && text.charCodeAt(at) !== 34) at += text.charCodeAt(at) === 92 ? 2 : 1;
  return at;
}

function parse(text: string, place: () => { file: string; line: number }): unknown {
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new TuckpointError('dialects/not-json', 'This object is not valid JSON.', {
      place: place(),
      advice: 'Check that the file is what nft -j list ruleset printed.',
      cause,
    });
  }
}
