import { TuckpointError } from '#core/errors';
import type { ObjectKind } from '../typed-configuration.ts';

const KINDS: ReadonlySet<string> = new Set<ObjectKind>([
  'address',
  'address-group',
  'service',
  'service-group',
  'zone',
  'interface',
  'table',
  'chain',
  'rule',
  'map',
  'nat',
  'route',
  'setting',
  'section',
]);

/**
 * What a person asks for.
 * - `names`: objects of a kind (or any kind) whose name fits a pattern;
 * - `section`: all that stands under headings that fit;
 * - `needs`: all that the objects of another selector need; `uses`: all that uses them.
 */
export type Selector =
  | {
      readonly what: 'names';
      readonly kind: ObjectKind | null;
      readonly pattern: string;
      readonly text: string;
    }
  | { readonly what: 'section'; readonly pattern: string; readonly text: string }
  | { readonly what: 'needs' | 'uses'; readonly of: Selector; readonly text: string };

/**
 * Reads a selector: `address:harbour-*`, `rule:"crew web"`, `kind:address-group`, `section:system`,
 * `needs:rule:"crew web"`, `uses:harbours`, `all`. `*` stands for any text, `?` for one character.
 * @throws TuckpointError `config/selector`.
 */
export function readSelector(text: string): Selector {
  const [head, rest] = split(text.trim());
  if (head === 'needs' || head === 'uses') {
    const of = readSelector(rest);
    return { what: head, of, text };
  }
  if (head === 'kind') {
    if (!KINDS.has(rest)) throw wrong(text, `"${rest}" is no kind of object.`);
    return { what: 'names', kind: rest as ObjectKind, pattern: '*', text };
  }
  const pattern = bare(rest);
  if (pattern === '') throw wrong(text, 'The selector names nothing.');
  if (head === 'section') return { what: 'section', pattern, text };
  if (head === 'any' || head === '') {
    return { what: 'names', kind: null, pattern: head === '' && pattern === 'all' ? '*' : pattern, text };
  }
  if (KINDS.has(head)) return { what: 'names', kind: head as ObjectKind, pattern, text };
  throw wrong(text, `"${head}" is neither a kind of object nor one of section, kind, needs, uses.`);
}

/** Does a name fit a pattern with `*` and `?`? Letters count as written. */
export function fits(pattern: string, name: string): boolean {
  if (!/[*?]/.test(pattern)) return pattern === name;
  // Greedy matching with one point to fall back to: linear for one star, never exponential.
  let p = 0;
  let star = -1;
  let mark = 0;
  for (let n = 0; n < name.length; ) {
    if (pattern[p] === '*') {
      star = p++;
      mark = n;
    } else if (pattern[p] === '?' || pattern[p] === name[n]) {
      p++;
      n++;
    } else if (star >= 0) {
      p = star + 1;
      n = ++mark;
    } else return false;
  }
  while (pattern[p] === '*') p++;
  return p === pattern.length;
}

/** The word before the first colon, where it is one of letters; a quoted or spaced text has none. */
function split(text: string): [string, string] {
  const match = /^([a-z]+(?:-[a-z]+)?):(?!:)(.*)$/su.exec(text);
  // An IPv6 address such as fe80::1 is a name, not a kind.
  if (match === null) return ['', text];
  return [match[1]!, match[2]!.trim()];
}

function bare(text: string): string {
  const quoted = /^"(.*)"$|^'(.*)'$/s.exec(text);
  return quoted === null ? text : (quoted[1] ?? quoted[2] ?? '');
}

function wrong(text: string, sentence: string): TuckpointError {
  return new TuckpointError('config/selector', sentence, {
    place: { field: text },
    advice: `Write KIND:NAME, section:NAME, kind:KIND, needs:…, uses:… or all; kinds are ${[...KINDS].join(', ')}.`,
  });
}
