import type { SourceFile, Span } from '#core/config';
import { TuckpointError } from '#core/errors';
import { Lines } from '#dialects/source';
import { readBraces } from './braces.ts';
import { guessFormat } from './guess.ts';
import { readIndentation } from './indentation.ts';
import { readIni } from './ini.ts';
import { readJson } from './json.ts';
import { LARGEST_TREE, type Tree, type TreeFormat, type TreeNode } from './node.ts';
import { readXml } from './xml.ts';

const READERS: Readonly<Record<TreeFormat, (source: Lines) => Tree>> = {
  ini: readIni,
  xml: readXml,
  json: readJson,
  braces: readBraces,
  indentation: readIndentation,
};

/** The formats a tree is read from. */
export const TREE_FORMATS = Object.keys(READERS) as readonly TreeFormat[];

/** A guess below this is no better than chance. */
const LEAST_CONFIDENCE = 0.25;

/**
 * Reads a file as a generic tree, in the format given or the one guessed.
 * @throws TuckpointError `dialects/too-large`, `dialects/too-deep`, `dialects/malformed`, `dialects/format-unknown`,
 * with file and line.
 */
export function readTree(file: SourceFile, format?: TreeFormat): Tree {
  if (file.text.length > LARGEST_TREE) {
    throw new TuckpointError(
      'dialects/too-large',
      `The file has ${file.text.length} characters; a tree is read from at most ${LARGEST_TREE}.`,
      { place: { file: file.name }, advice: 'Capture only the part that holds the configuration.' },
    );
  }
  return READERS[format ?? guessed(file)](new Lines(file));
}

function guessed(file: SourceFile): TreeFormat {
  const best = guessFormat(file.text)[0];
  if (best !== undefined && best.confidence >= LEAST_CONFIDENCE) return best.format;
  throw new TuckpointError('dialects/format-unknown', 'The format of this file could not be guessed.', {
    place: { file: file.name, line: 1 },
    advice: `Name it: ${TREE_FORMATS.join(', ')}.`,
  });
}

/** The place of a node. */
export function spanOf(tree: Tree, { start, end }: Pick<TreeNode, 'start' | 'end'>): Span {
  return tree.source.span(start, end);
}

/** Where an offset of the text stands in the bytes of the file (UTF-8). */
export function byteOffset(tree: Tree, offset: number): number {
  return new TextEncoder().encode(tree.source.text.slice(0, offset)).length;
}

/** Every node below (and with) a node, parents first, in the order of the text. */
export function* walk(node: TreeNode): Generator<TreeNode> {
  yield node;
  for (const child of node.children) yield* walk(child);
}
