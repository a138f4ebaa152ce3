import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import type { Chain, Rule, Ruleset, Table, Unread } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import type { FormerRules } from './former-rules.ts';
import { parseRule } from './parse-rule.ts';

const MOST_RULES = 500_000;
const MOST_UNREAD = 10_000;

/** What the readers of tables, chains and sets share while one file is read. */
export class Reading {
  readonly ruleset: Ruleset;
  readonly cursor: Cursor;
  readonly files: readonly SourceFile[];
  private readonly former: FormerRules | null;
  /**
   * Handles `define` and `include`, which may stand at any level; `inside` reads what an included file holds there
   * (lines of a chain, items of a table), left out at top level.
   */
  readonly directive: (inside?: (inner: Reading) => void) => void;
  private rules = 0;

  constructor(
    ruleset: Ruleset,
    cursor: Cursor,
    files: readonly SourceFile[],
    former: FormerRules | null,
    directive: (reading: Reading, inside?: (inner: Reading) => void) => void,
  ) {
    this.ruleset = ruleset;
    this.cursor = cursor;
    this.files = files;
    this.former = former;
    this.directive = (inside) => directive(this, inside);
  }

  /** Reads one rule up to the end of its line, or takes over one of the same text. */
  rule(): Rule {
    return this.former?.take(this.cursor) ?? parseRule(this.cursor);
  }

  /** @throws TuckpointError `dialects/too-large` past half a million rules. */
  addRule(table: Table, chain: Chain, rule: Rule): void {
    for (const bound of this.cursor.nameless) table.chains.set(bound.name, bound);
    this.cursor.nameless = [];
    if (rule.statements.length === 0 && rule.comment === null) return;
    if (++this.rules > MOST_RULES) {
      throw new TuckpointError('dialects/too-large', `The ruleset has more than ${MOST_RULES} rules.`, {
        place: this.placeOf(rule.place.start),
      });
    }
    chain.rules.push(rule);
  }

  /** Reads one line; what is not understood is noted as unread, to the end of the line. */
  guarded(within: { table: string; chain: string | null } | null, read: () => void): void {
    const start = this.cursor.start();
    const mark = this.cursor.mark();
    try {
      read();
      if (!this.cursor.atStatementEnd()) {
        throw new NotUnderstood(`${this.cursor.found()} was not expected here`);
      }
    } catch (error) {
      if (!(error instanceof NotUnderstood)) throw error;
      this.cursor.restoreDepth(mark);
      if (this.cursor.at === mark.at) this.cursor.at++;
      this.cursor.skipStatement();
      this.unread(start, error.message, within);
    }
  }

  /** Notes a stretch, from an offset to the last token read, as not understood. */
  unread(start: number, why: string, within: Unread['within'] = null): void {
    const place = this.cursor.placeFrom(start);
    this.ruleset.unread.push({ place, why, within, mayAffectTraffic: true });
    if (this.ruleset.unread.length > MOST_UNREAD) {
      throw new TuckpointError(
        'dialects/not-a-ruleset',
        `More than ${MOST_UNREAD} statements are not understood.`,
        {
          place: this.placeOf(start),
          advice: 'Check that the file is an nftables ruleset.',
        },
      );
    }
  }

  placeOf(offset: number): { file: string; line: number } {
    const { lines } = this.cursor.tokens;
    return { file: lines.file, line: lines.lineAt(offset) };
  }

  /** Closes a block. @throws TuckpointError `dialects/truncated` when the file ends first. */
  close(opened: number): void {
    if (this.cursor.acceptKind(125)) return;
    throw new TuckpointError('dialects/truncated', 'A block that opens here is never closed.', {
      place: this.placeOf(opened),
      advice: 'Check that the file was transferred whole.',
    });
  }
}
