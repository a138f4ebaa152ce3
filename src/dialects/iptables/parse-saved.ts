import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import {
  type Chain,
  type Hook,
  type Mention,
  newChain,
  nothingWorked,
  type Place,
  type Rule,
  type Ruleset,
  type Statement,
  type Table,
  tableOf,
} from '../netfilter/index.ts';
import { shorten } from '../source/index.ts';
import { familyOf } from './family.ts';
import { bareMatches, matchOf } from './matches.ts';
import { targetOf } from './targets.ts';
import { type Option, optionsOf, wordsOf } from './words.ts';

/** Built-in chains and the priority of their hooks per table (netfilter_ipv4.h, NF_IP_PRI_*). */
const HOOKS: Readonly<Record<string, string>> = {
  PREROUTING: 'prerouting',
  INPUT: 'input',
  FORWARD: 'forward',
  OUTPUT: 'output',
  POSTROUTING: 'postrouting',
};
const PRIORITIES: Readonly<Record<string, number>> = {
  raw: -300,
  mangle: -150,
  nat: -100,
  filter: 0,
  security: 50,
};

const MOST_UNREAD = 10_000;

/** Reads one saved file into the ruleset. @throws TuckpointError `dialects/truncated`, `dialects/not-a-ruleset`. */
export function parseSaved(ruleset: Ruleset, file: SourceFile): void {
  const family = familyOf(file);
  let table: Table | null = null;
  let opened = 0;
  let line = 0;
  let unread = 0;
  for (let start = 0; start < file.text.length; ) {
    line++;
    const newline = file.text.indexOf('\n', start);
    const end = newline < 0 ? file.text.length : newline;
    const text = file.text.slice(start, end).trim();
    const place: Place = { file: file.name, start, end };
    start = end + 1;
    if (text === '' || text.startsWith('#') || text === '\uFEFF') continue;
    if (text.startsWith('*')) {
      table = tableOf(ruleset, family, text.slice(1).trim(), place);
      opened = line;
    } else if (text === 'COMMIT') table = null;
    else if (table === null || !readLine(table, text, place, ruleset, family)) {
      ruleset.unread.push({
        place,
        why: 'this line is not known here',
        within: null,
        mayAffectTraffic: true,
      });
      if (++unread > MOST_UNREAD) {
        throw new TuckpointError(
          'dialects/not-a-ruleset',
          `More than ${MOST_UNREAD} lines are not understood.`,
          {
            place: { file: file.name, line },
            advice: 'Check that the file is what iptables-save printed.',
          },
        );
      }
    }
  }
  if (table !== null) {
    throw new TuckpointError(
      'dialects/truncated',
      `The table ${table.name} that begins here has no COMMIT.`,
      {
        place: { file: file.name, line: opened },
        advice: 'Check that the file was transferred whole.',
      },
    );
  }
}

function readLine(table: Table, text: string, place: Place, ruleset: Ruleset, family: 'ip' | 'ip6'): boolean {
  const head = /^:(\S+)\s+(\S+)/.exec(text);
  if (head !== null) {
    putChain(table, head[1]!, head[2]!, place);
    return isPolicy(head[2]!);
  }
  const words = wordsOf(text.replace(/^\[\d+:\d+\]\s*/, ''));
  const [command, name] = words;
  if (command === '-N' && name !== undefined) {
    putChain(table, name, '-', place);
    return true;
  }
  if (command === '-P' && name !== undefined) {
    putChain(table, name, words[2] ?? '-', place);
    return isPolicy(words[2] ?? '');
  }
  if ((command !== '-A' && command !== '-I') || name === undefined) return false;
  const chain = table.chains.get(name) ?? putChain(table, name, '-', place);
  const numbered = command === '-I' && /^\d+$/.test(words[2] ?? '');
  const rule = readRule(table, optionsOf(words.slice(numbered ? 3 : 2)), place, ruleset, family);
  if (command === '-A') chain.rules.push(rule);
  else chain.rules.splice(numbered ? Number(words[2]) - 1 : 0, 0, rule);
  return true;
}

/** `-` is that of a chain made by the user, which has none. */
const isPolicy = (word: string): boolean => word === 'ACCEPT' || word === 'DROP' || word === '-';

function putChain(table: Table, name: string, policy: string, place: Place): Chain {
  const chain = table.chains.get(name) ?? newChain(name, place);
  const hook = HOOKS[name];
  if (hook !== undefined) {
    chain.hook = hookOf(table.name, hook);
    chain.policy = policy === 'DROP' ? 'drop' : 'accept';
  }
  table.chains.set(name, chain);
  return chain;
}

function hookOf(table: string, hook: string): Hook {
  const late = table === 'nat' && (hook === 'postrouting' || hook === 'input');
  const priority = late ? 100 : (PRIORITIES[table] ?? 0);
  const type = table === 'nat' ? 'nat' : 'filter';
  return { type, hook, priority, priorityText: String(priority), devices: [] };
}

function readRule(
  table: Table,
  options: readonly Option[],
  place: Place,
  ruleset: Ruleset,
  family: 'ip' | 'ip6',
): Rule {
  const jump = options.findIndex((option) => option.name === '-j' || option.name === '-g');
  const matches = jump < 0 ? options : options.slice(0, jump);
  const protocol = matches.find((option) => option.name === '-p' && !option.negated)?.values[0] ?? '';
  const statements: Statement[] = [];
  const mentions: Mention[] = [];
  let comment: string | null = null;
  for (const option of matches) {
    if (option.name === '--comment') comment = option.values[0] ?? '';
    if (option.name === '--match-set') noteSet(ruleset, option.values[0] ?? '', place);
    const known = matchOf(option, family, protocol);
    statements.push(...(known ?? []));
  }
  statements.push(...bareMatches(matches));
  const target = options[jump];
  if (target !== undefined) {
    const name = target.values[0] ?? '';
    const { chains } = table;
    const known = targetOf(name, target.name === '-j', options.slice(jump + 1), chains);
    statements.push(
      ...(known ?? [
        {
          kind: 'opaque' as const,
          text: shorten(`${target.name} ${name}`),
          why: `the target ${name} is not known`,
        },
      ]),
    );
    if (chains.has(name)) mentions.push({ kind: 'chain', name, start: place.start, end: place.end });
  }
  return { place, statements, worked: nothingWorked(), comment, handle: null, mentions };
}

/** What a named set holds stands outside these files; said once per set. */
function noteSet(ruleset: Ruleset, name: string, place: Place): void {
  const why = `what the set ${name} holds is not in this file`;
  if (ruleset.unread.some((part) => part.why === why)) return;
  ruleset.unread.push({ place, why, within: null, mayAffectTraffic: true });
}
