import { type Mention, newChain, nothingWorked, type Rule, type Statement } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { parseStatement } from './parse-statement.ts';

/** Words at which reading may take up again after something was not understood. */
const RESUME: ReadonlySet<string> = new Set([
  'counter',
  'log',
  'accept',
  'drop',
  'reject',
  'return',
  'jump',
  'goto',
  'comment',
]);

/** Most rules mention nothing: they share this. */
const NO_MENTIONS: readonly Mention[] = [];

/**
 * Reads one rule up to the end of its line. What is not understood becomes an opaque statement that reaches to
 * the next word where reading can take up again; nothing is dropped and nothing is thrown.
 */
export function parseRule(cursor: Cursor): Rule {
  const start = cursor.start();
  const outer = cursor.mentions;
  cursor.mentions = [];
  const statements: Statement[] = [];
  let comment: string | null = null;
  while (!cursor.atStatementEnd()) {
    const from = cursor.start();
    const mark = cursor.mark();
    try {
      if (cursor.accept('comment')) comment = cursor.take();
      else if ((cursor.is('jump') || cursor.is('goto')) && cursor.kind(1) === 123) {
        statements.push(parseNamelessChain(cursor));
      } else statements.push(parseStatement(cursor));
    } catch (error) {
      if (!(error instanceof NotUnderstood)) throw error;
      cursor.restoreDepth(mark);
      if (cursor.at === mark.at) cursor.at++;
      resume(cursor);
      statements.push({ kind: 'opaque', text: cursor.textFrom(from), why: error.message });
    }
  }
  const place = cursor.placeFrom(start);
  const handle = cursor.tokens.handles.get(cursor.at) ?? null;
  const mentions = cursor.mentions.length === 0 ? NO_MENTIONS : cursor.mentions;
  cursor.mentions = outer;
  // A copy is as long as it needs to be; a list that has grown keeps room for more.
  return { place, statements: statements.slice(), worked: nothingWorked(), comment, handle, mentions };
}

/** `jump { … }`: a chain without a name, kept beside the table's chains under its place. */
function parseNamelessChain(cursor: Cursor): Statement {
  cursor.enter();
  const start = cursor.start();
  const verdict = cursor.take() === 'jump' ? 'jump' : 'goto';
  const chain = newChain(`{${cursor.tokens.lines.file} ${start}}`, cursor.placeFrom(start));
  cursor.at++;
  for (;;) {
    cursor.skipNewlines();
    if (cursor.acceptKind(125)) break;
    if (cursor.kind() === 0) throw new NotUnderstood('the block after jump does not end');
    chain.rules.push(parseRule(cursor));
  }
  cursor.nameless.push(chain);
  cursor.leave();
  return { kind: 'verdict', verdict, chain: chain.name };
}

function resume(cursor: Cursor): void {
  let depth = 0;
  for (;;) {
    const kind = cursor.kind();
    if (kind === 0) return;
    if (depth === 0 && (cursor.atStatementEnd() || (cursor.isWord() && RESUME.has(cursor.word())))) return;
    if (kind === 123) depth++;
    if (kind === 125) depth--;
    cursor.at++;
  }
}
