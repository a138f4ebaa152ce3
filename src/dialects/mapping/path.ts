import { type TreeNode, wordsOf } from '#dialects/tree';

/** Matches one word of a node: its name or one of the words after it. */
type WordPattern =
  | { readonly is: 'literal'; readonly texts: readonly string[] }
  | { readonly is: 'any' }
  | { readonly is: 'capture'; readonly name: string; readonly rest: boolean };

interface Condition {
  readonly path: Path;
  readonly text: string;
}

type Step =
  | { readonly is: 'node'; readonly words: readonly WordPattern[]; readonly conditions: readonly Condition[] }
  | { readonly is: 'deep' }
  | { readonly is: 'attribute'; readonly name: string }
  | { readonly is: 'name' }
  | { readonly is: 'self' };

/** A way from a node of a tree to others, read from text such as `passage {name}/callers`. */
export type Path = readonly Step[];

/** A node that a path leads to, with what was captured on the way. */
export interface Found {
  readonly node: TreeNode;
  readonly captures: ReadonlyMap<string, readonly string[]>;
  /** Set where the path ends at an attribute or at the name, instead of at the words of the node. */
  readonly part: { readonly attribute: string } | 'name' | null;
}

/** Thrown by {@link parsePath}; the mapping file's reader adds the place. */
export class PathMistake extends Error {}

/**
 * Reads a path. Steps are separated by `/`. A step is a list of words: the first matches the name of a node, the rest
 * its further words (a step of one word does not look at them). A word is a literal, alternatives `a|b`, `*` for any,
 * `{name}` to capture it, `{name...}` to capture all that follow. `[field=text]` behind a step asks for a child or
 * `@attribute` with that value. `**` stands for any number of levels. The last step may be `@attribute`, `.name`
 * or `.` (the node itself). Words with blanks, slashes or brackets stand in double quotes.
 */
export function parsePath(text: string): Path {
  const known = PARSED.get(text);
  if (known !== undefined) return known;
  const path = parse(text);
  if (PARSED.size > 10_000) PARSED.clear();
  PARSED.set(text, path);
  return path;
}

/** Paths read before: fields ask for the same few for every rule. */
const PARSED = new Map<string, Path>();

function parse(text: string): Path {
  const steps = splitOutsideQuotes(text, '/').map((part): Step => {
    const trimmed = part.trim();
    if (trimmed === '') throw new PathMistake('a step of the path is empty');
    if (trimmed === '**') return { is: 'deep' };
    if (trimmed === '.') return { is: 'self' };
    if (trimmed === '.name') return { is: 'name' };
    if (/^@[\w:.-]+$/.test(trimmed)) return { is: 'attribute', name: trimmed.slice(1) };
    return nodeStep(trimmed);
  });
  for (const step of steps.slice(0, -1)) {
    if (step.is === 'attribute' || step.is === 'name')
      throw new PathMistake('an attribute or .name must be the last step');
  }
  return steps;
}

function nodeStep(text: string): Step {
  const conditions: Condition[] = [];
  const bare = text.replace(/\[([^\]=]+)=("[^"]*"|[^\]]*)\]/g, (_, path: string, value: string) => {
    conditions.push({ path: parsePath(path), text: unquote(value.trim()) });
    return '';
  });
  if (/[[\]]/.test(bare.replace(/"[^"]*"/g, '')))
    throw new PathMistake('a bracket is not a condition [field=text]');
  const words = splitOutsideQuotes(bare, ' ')
    .filter((word) => word !== '')
    .map(wordPattern);
  if (words.length === 0) throw new PathMistake('a step of the path is empty');
  const rest = words.findIndex((word) => word.is === 'capture' && word.rest);
  if (rest >= 0 && rest < words.length - 1)
    throw new PathMistake('a capture with ... must be the last word of its step');
  return { is: 'node', words, conditions };
}

function wordPattern(word: string): WordPattern {
  if (word === '*') return { is: 'any' };
  const capture = /^\{([a-z][\w-]*)(\.\.\.)?\}$/i.exec(word);
  if (capture !== null) return { is: 'capture', name: capture[1]!, rest: capture[2] !== undefined };
  if (/[{}]/.test(word) && !word.startsWith('"'))
    throw new PathMistake(`${word} is not a capture such as {name}`);
  return { is: 'literal', texts: splitOutsideQuotes(word, '|').map(unquote) };
}

function unquote(text: string): string {
  return text.startsWith('"') && text.endsWith('"') && text.length > 1 ? text.slice(1, -1) : text;
}

function splitOutsideQuotes(text: string, mark: string): string[] {
  const parts = [''];
  let quoted = false;
  let depth = 0;
  for (const c of text) {
    if (c === '"') quoted = !quoted;
    if (c === '[' && !quoted) depth++;
    if (c === ']' && !quoted) depth--;
    if (c === mark && !quoted && depth === 0) parts.push('');
    else parts[parts.length - 1] += c;
  }
  if (quoted) throw new PathMistake('a quotation mark is not closed');
  return parts;
}

/** The names a path captures. */
export function capturesOf(path: Path): string[] {
  return path.flatMap((step) =>
    step.is === 'node' ? step.words.flatMap((word) => (word.is === 'capture' ? [word.name] : [])) : [],
  );
}

const NOTHING: ReadonlyMap<string, readonly string[]> = new Map();

/** Every node the path leads to from below `from`, in the order of the text. */
export function select(from: TreeNode, path: Path): Found[] {
  const found: Found[] = [];
  follow(from, path, (one) => found.push(one));
  return found;
}

/** Hands out every node the path leads to from below `from`, in the order of the text. */
export function follow(
  from: TreeNode,
  path: Path,
  take: (found: Found) => void,
  at = 0,
  captures: Found['captures'] = NOTHING,
): void {
  const step = path[at];
  if (step === undefined) {
    take({ node: from, captures, part: null });
    return;
  }
  switch (step.is) {
    case 'self':
      follow(from, path, take, at + 1, captures);
      break;
    case 'name':
      take({ node: from, captures, part: 'name' });
      break;
    case 'attribute':
      if (from.attributes.some(({ name }) => name === step.name))
        take({ node: from, captures, part: { attribute: step.name } });
      break;
    case 'deep':
      follow(from, path, take, at + 1, captures);
      for (const child of from.children) follow(child, path, take, at, captures);
      break;
    case 'node':
      for (const child of from.children) {
        const caught = matchWords(child, step.words);
        if (caught === null || !step.conditions.every((condition) => holds(child, condition))) continue;
        follow(child, path, take, at + 1, both(captures, caught));
      }
  }
}

function both(before: Found['captures'], caught: Found['captures']): Found['captures'] {
  if (caught.size === 0) return before;
  return before.size === 0 ? caught : new Map([...before, ...caught]);
}

function holds(node: TreeNode, { path, text }: Condition): boolean {
  return select(node, path).some((found) => textsOf(found).join(' ') === text);
}

function matchWords(node: TreeNode, patterns: readonly WordPattern[]): Found['captures'] | null {
  let captures: Map<string, readonly string[]> | null = null;
  const words = wordsOf(node);
  const count = words.length + 1;
  for (let index = 0; index < patterns.length; index++) {
    const pattern = patterns[index]!;
    if (pattern.is === 'capture' && pattern.rest) {
      captures ??= new Map();
      return captures.set(pattern.name, [node.name, ...words].slice(index));
    }
    if (index >= count) return null;
    const word = index === 0 ? node.name : words[index - 1]!;
    if (pattern.is === 'capture') captures = (captures ?? new Map()).set(pattern.name, [word]);
    else if (pattern.is === 'literal' && !pattern.texts.includes(word)) return null;
  }
  return patterns.length === 1 || patterns.length === count ? (captures ?? NOTHING) : null;
}

/** The texts of what a path found: an attribute, a name, words, or else the names and words of the children. */
export function textsOf({ node, part }: Found): readonly string[] {
  if (part === 'name') return [node.name];
  if (part !== null) return [node.attributes.find(({ name }) => name === part.attribute)!.value];
  const words = wordsOf(node);
  if (words.length > 0) return words;
  return node.children.flatMap((child) =>
    child.name === '' || child.kind === 'element' || child.kind === 'string'
      ? wordsOf(child)
      : [child.name, ...wordsOf(child)],
  );
}
