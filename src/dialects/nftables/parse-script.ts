import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import { newRuleset, type Ruleset, tableOf } from '../netfilter/index.ts';
import { endsInPattern } from '../source/index.ts';
import { parseCommand } from './commands.ts';
import { Cursor, Scope } from './cursor.ts';
import { takeNewTable } from './families.ts';
import type { FormerRules } from './former-rules.ts';
import { parseExpression } from './parse-expression.ts';
import { parseTableBlock } from './parse-table.ts';
import { Reading } from './reading.ts';
import { tokenise } from './tokens.ts';

/** How deep files may include files; the same limit as nft(8) has. */
const DEEPEST_INCLUDE = 16;

/** Reads what stands at one level, up to the brace that ends it. */
type Inside = (reading: Reading) => void;

/** The files that no other one includes; where each includes another, the first. */
export function rootScripts(files: readonly SourceFile[]): readonly SourceFile[] {
  const included = new Set<string>();
  for (const file of files) {
    for (const match of file.text.matchAll(/^[ \t]*include[ \t]+"([^"\n]+)"/gm)) {
      for (const found of findIncluded(files, match[1]!)) if (found !== file) included.add(found.name);
    }
  }
  const roots = files.filter((file) => !included.has(file.name));
  return roots.length === 0 ? files.slice(0, 1) : roots;
}

/**
 * Reads ruleset files, in order, into the ruleset that stands after all their commands. A file that another one
 * includes is read at that place and not again. Rules that `former` holds are taken from there.
 * @throws TuckpointError `dialects/truncated`, `dialects/too-deep`, `dialects/too-large`, `dialects/not-a-ruleset`.
 */
export function parseScripts(files: readonly SourceFile[], former: FormerRules | null = null): Ruleset {
  const ruleset = newRuleset();
  const scope = new Scope(null);
  for (const file of rootScripts(files)) readFile(file, scope, 0);
  return ruleset;

  function readFile(file: SourceFile, outer: Scope, depth: number, inside: Inside = readTop): void {
    if (depth > DEEPEST_INCLUDE) {
      throw new TuckpointError(
        'dialects/too-deep',
        `Files include files more than ${DEEPEST_INCLUDE} deep.`,
        {
          place: { file: file.name, line: 1 },
          advice: 'Look for a file that includes itself.',
        },
      );
    }
    const cursor = new Cursor(tokenise(file), outer);
    const reading = new Reading(ruleset, cursor, files, former, (current, within) =>
      directive(current, depth, within),
    );
    for (;;) {
      cursor.skipNewlines();
      if (cursor.kind() === 0) return;
      const { at } = cursor;
      inside(reading);
      // A reader of blocks stops at a brace that this file does not open.
      if (cursor.at === at) readTop(reading);
    }
  }

  function directive(reading: Reading, depth: number, inside?: Inside): void {
    const { cursor } = reading;
    const start = cursor.start();
    reading.guarded(null, () => {
      const word = cursor.take();
      if (word === 'include') {
        const pattern = cursor.take();
        const found = findIncluded(files, pattern);
        for (const file of found) readFile(file, cursor.scope, depth + 1, inside);
        if (found.length === 0 && !/[*?[]/.test(pattern))
          reading.unread(start, `the included file ${pattern} is not here`);
        else if (found.length === 0) reading.unread(start, `no file here matches the included ${pattern}`);
        return;
      }
      const name = cursor.take();
      if (word === 'undefine') {
        cursor.scope.remove(name);
        return;
      }
      cursor.expectKind(61);
      const value = parseExpression(cursor, { fields: true, list: true });
      cursor.scope.set(name, value);
      ruleset.defines.push({ name, place: cursor.placeFrom(start), value, mentions: cursor.mentions });
    });
    cursor.mentions = [];
  }

  function readTop(reading: Reading): void {
    const { cursor } = reading;
    const start = cursor.start();
    if (cursor.is('define') || cursor.is('redefine') || cursor.is('undefine') || cursor.is('include')) {
      reading.directive();
    } else if (cursor.is('table')) {
      reading.guarded(null, () => {
        cursor.take();
        const [family, name] = takeNewTable(cursor);
        const table = tableOf(ruleset, family, name, cursor.placeFrom(start));
        if (cursor.kind() === 123) parseTableBlock(reading, table);
      });
    } else if (cursor.kind() === 125) {
      cursor.at++;
      reading.unread(start, 'this brace closes nothing');
    } else reading.guarded(null, () => parseCommand(reading));
    cursor.mentions = [];
  }
}

function findIncluded(files: readonly SourceFile[], pattern: string): SourceFile[] {
  const bare = pattern.replace(/^(\.?\/)+/, '');
  return files.filter((file) => endsInPattern(file.name, bare)).sort((a, b) => (a.name < b.name ? -1 : 1));
}
