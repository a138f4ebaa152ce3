import { TuckpointError } from '#core/errors';
import type { Lines } from '#dialects/source';

/** Largest file a tree is read from, in characters. */
export const LARGEST_TREE = 32 * 1024 * 1024;
/** Deepest nesting that is read. Real configurations stay below twenty. */
const DEEPEST = 200;
/** Most nodes one tree may hold, so that memory stays bounded. */
export const MOST_NODES = 1_000_000;

export type TreeFormat = 'ini' | 'xml' | 'json' | 'braces' | 'indentation';

/** An attribute of an XML element; the span is the raw value between its quotes. */
export interface TreeAttribute {
  readonly name: string;
  readonly value: string;
  readonly start: number;
  readonly end: number;
}

/**
 * A node of a generic tree.
 *
 * What the parts hold, by format: an XML element (local name, text, attributes); a JSON member (key, scalar) or list
 * element (empty name); an INI section (first word, further words) or key; a statement of a braces or indentation
 * format (first word, further words).
 */
export interface TreeNode {
  readonly kind:
    | 'root'
    | 'element'
    | 'object'
    | 'list'
    | 'string'
    | 'number'
    | 'literal'
    | 'section'
    | 'statement';
  readonly name: string;
  /** Decoded text without quotes; null where there is none. */
  readonly value: string | null;
  /** The value word by word, quotes removed; null where it is one text or there is none. {@link wordsOf} gives both as words. */
  readonly words: readonly string[] | null;
  readonly attributes: readonly TreeAttribute[];
  /** XML namespace of the element, else null. */
  readonly namespace: string | null;
  readonly children: readonly TreeNode[];
  /** Span of the whole node in the text (UTF-16 units), terminator included, surrounding blanks not. */
  readonly start: number;
  readonly end: number;
  /** Span of the raw value; both -1 where there is none. */
  readonly valueStart: number;
  readonly valueEnd: number;
}

export interface Tree {
  readonly format: TreeFormat;
  readonly source: Lines;
  readonly root: TreeNode;
}

/** A node under construction. */
export type OpenNode = { -readonly [K in keyof TreeNode]: TreeNode[K] } & {
  children: OpenNode[];
  attributes: TreeAttribute[];
};

// Most nodes are leaves: they share their empty lists.
const NO_WORDS: readonly string[] = [];
const NO_ATTRIBUTES: TreeAttribute[] = [];
const NO_CHILDREN: OpenNode[] = [];

/** Makes nodes for one source and refuses what is too deep or too much. */
export class NodeMaker {
  readonly #source: Lines;
  #count = 0;

  constructor(source: Lines) {
    this.#source = source;
  }

  /** A node that starts at `start`; its end is set later. */
  open(kind: TreeNode['kind'], name: string, start: number, depth = 0): OpenNode {
    if (depth > DEEPEST)
      throw this.refuse('dialects/too-deep', `The nesting is deeper than ${DEEPEST} levels.`, start);
    if (++this.#count > MOST_NODES) {
      throw this.refuse('dialects/too-large', `The file holds more than ${MOST_NODES} entries.`, start);
    }
    return {
      kind,
      name,
      value: null,
      words: null,
      attributes: NO_ATTRIBUTES,
      namespace: null,
      children: NO_CHILDREN,
      start,
      end: start,
      valueStart: -1,
      valueEnd: -1,
    };
  }

  /** Puts a node behind the other children of its parent. */
  adopt(parent: OpenNode, child: OpenNode): void {
    if (parent.children === NO_CHILDREN) parent.children = [child];
    else parent.children.push(child);
  }

  close(node: OpenNode, end: number): OpenNode {
    node.end = end;
    return node;
  }

  /** An error at an offset: one sentence with file and line. */
  refuse(
    code: 'dialects/malformed' | 'dialects/too-deep' | 'dialects/too-large',
    message: string,
    offset: number,
    advice?: string,
  ) {
    const place = {
      file: this.#source.file,
      line: this.#source.lineAt(Math.min(offset, this.#source.text.length)),
    };
    return new TuckpointError(code, message, advice === undefined ? { place } : { place, advice });
  }
}

/** The value of a node word by word; a JSON scalar or XML text is one word. */
export function wordsOf({ words, value }: TreeNode): readonly string[] {
  return words ?? (value === null ? NO_WORDS : [value]);
}

/** A short quotation of a text for a message. */
export function quoted(text: string): string {
  const line = text.split(/[\r\n]/, 1)[0] ?? '';
  return JSON.stringify(line.length > 60 ? `${line.slice(0, 57)}...` : line);
}
