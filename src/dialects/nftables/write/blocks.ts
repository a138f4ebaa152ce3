/** A `{ … }` in a ruleset's text: offsets of both braces. */
export interface Block {
  readonly open: number;
  readonly close: number;
}

/** The block that opens next behind an offset, before the statement ends; null when there is none. */
export function blockFrom(text: string, from: number): Block | null {
  const head = /^[^{}\n;#"]*\{/.exec(text.slice(from, from + 2000));
  if (head === null) return null;
  const open = from + head[0].length - 1;
  const close = closing(text, open);
  return close < 0 ? null : { open, close };
}

/** The brace that closes the one at `open`; quoted text and comments hold none. */
function closing(text: string, open: number): number {
  const marks = /[{}"#]/g;
  marks.lastIndex = open;
  let depth = 0;
  for (let found = marks.exec(text); found !== null; found = marks.exec(text)) {
    const [c] = found;
    if (c === '{') depth++;
    else if (c === '}') {
      if (--depth === 0) return found.index;
    } else {
      const end = text.indexOf(c === '"' ? '"' : '\n', found.index + 1);
      if (end < 0) return -1;
      marks.lastIndex = end + 1;
    }
  }
  return -1;
}

/** The blocks of a table in a file, in their order: where further parts of it may stand. */
export function tableBlocks(text: string, name: string): Block[] {
  const [family, own] = name.split(' ') as [string, string];
  const words = family === 'ip' ? `(?:ip[ \\t]+)?` : `${family}[ \\t]+`;
  const pattern = new RegExp(
    `^[ \\t]*(?:add[ \\t]+)?table[ \\t]+${words}${own.replace(/[.*+?^$()|\\]/g, '\\$&')}[ \\t]*\\{`,
    'gm',
  );
  return [...text.matchAll(pattern)].flatMap((found) => {
    const block = blockFrom(text, found.index + found[0].length - 1);
    return block === null ? [] : [block];
  });
}
