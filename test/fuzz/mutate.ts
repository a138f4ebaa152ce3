import type { Random } from '../../bench/traffic/random.ts';

/** Pieces that mean something in one of the languages. */
const PIECES = [
  ...[
    '{',
    '}',
    '[',
    ']',
    '(',
    ')',
    '<',
    '>',
    '"',
    "'",
    '\\',
    '\n',
    '\t',
    ' ',
    ';',
    '#',
    '!',
    '=',
    ':',
    ',',
    '/',
    '-',
    '*',
  ],
  ...[
    '<a/>',
    '</',
    '<!--',
    ']]>',
    '&amp;',
    '&#0;',
    'null',
    '1e999',
    '-0',
    '\\u0000',
    '\u0000',
    '\ud800',
    'é',
    '🚢',
    '\r\n',
    '\r',
    '\ufeff',
  ],
  ...[
    '__proto__',
    'constructor',
    '&a ',
    '*a',
    '- ',
    '? ',
    '|\n',
    '{x}',
    '{x...}',
    '**',
    '..',
    '@id',
    '.name',
    '[a=b]',
  ],
  ...[
    '0.0.0.0/0',
    '::/0',
    '10.0.0.1/33',
    '256.1.1.1',
    '::ffff:10.0.0.1',
    '65536',
    '99999999999999999999',
    '0x',
    '-1',
  ],
  ...[
    ' . ',
    '$x',
    '@s',
    'vmap ',
    'map ',
    'jump ',
    'goto ',
    'include "a"',
    '!= ',
    '-A ',
    '! ',
    '-j ',
    '-p ',
    'COMMIT',
    '*nat',
  ],
  ...['iface ', 'inherits ', 'auto ', 'source ', '[Match]', '[Network]', 'Name=', 'Address='],
];

const LARGEST = 20_000;

const WORD = /[\w.:/-]+/;

function wordOf(random: Random, corpus: readonly string[]): string {
  const text = random.pick(corpus);
  return WORD.exec(text.slice(random.below(text.length)))?.[0] ?? '';
}

/** A piece without marks, or a number. */
function wordLike(random: Random): string {
  const piece = random.pick(PIECES);
  return /^[\w.:/-]+$/.test(piece) ? piece : String(random.below(2 ** random.below(40)));
}

/** A text of the corpus with a few changes: words exchanged; cut, put in, taken from another text, doubled, or nested. */
export function mutated(random: Random, corpus: readonly string[]): string {
  let text = random.pick(corpus);
  // Half of the texts keep their marks, so that what stands between them is read.
  const onlyWords = random.chance(0.5);
  for (let changes = 1 + random.below(random.chance(0.5) ? 2 : 6); changes > 0; changes--) {
    const at = random.below(text.length + 1);
    const before = text.slice(0, at);
    if (onlyWords) {
      text =
        before + text.slice(at).replace(WORD, random.chance(0.7) ? wordOf(random, corpus) : wordLike(random));
      continue;
    }
    switch (random.below(7)) {
      case 0:
        text = before + text.slice(at + random.below(40));
        break;
      case 1:
      case 2:
        text = before + random.pick(PIECES) + text.slice(at + random.below(3));
        break;
      case 3: {
        const other = random.pick(corpus);
        const from = random.below(other.length);
        text = before + other.slice(from, from + random.below(80)) + text.slice(at + random.below(20));
        break;
      }
      case 4:
        text = before + text.slice(at, at + random.below(60)).repeat(1 + random.below(3)) + text.slice(at);
        break;
      case 5:
        text = before + String.fromCharCode(random.below(0x180)) + text.slice(at + 1);
        break;
      default:
        text = random.chance(0.1)
          ? before + random.pick(PIECES).repeat(random.below(300)) + text.slice(at)
          : before;
    }
  }
  return text.slice(0, LARGEST);
}
