/** One place of a pattern: any number of characters, or one that passes. */
type Token = 'any number' | ((character: string) => boolean);

/**
 * Does a file name end in this pattern, as glob(7) has it: `*`, `?` and `[a-z]`, none of which stands for a slash? In
 * time that grows with both lengths only, whatever the pattern: captured files are not to be trusted.
 */
export function endsInPattern(name: string, pattern: string): boolean {
  const wanted = pattern.split('/');
  const given = name.split('/').slice(-wanted.length);
  return given.length === wanted.length && wanted.every((part, i) => matches(given[i]!, tokensOf(part)));
}

function tokensOf(part: string): Token[] {
  const tokens: Token[] = [];
  for (let i = 0; i < part.length; i++) {
    const c = part[i]!;
    const end = c === '[' ? part.indexOf(']', i + 2) : -1;
    if (c === '*') {
      if (tokens.at(-1) !== 'any number') tokens.push('any number');
    } else if (c === '?') tokens.push(() => true);
    else if (end > 0) {
      tokens.push(oneOf(part.slice(i + 1, end)));
      i = end;
    } else tokens.push((other) => other === c);
  }
  return tokens;
}

function oneOf(inside: string): (character: string) => boolean {
  const not = /^[!^]/.test(inside);
  const text = not ? inside.slice(1) : inside;
  const holds = (c: string) => {
    for (let i = 0; i < text.length; i++) {
      const isRange = text[i + 1] === '-' && i + 2 < text.length;
      if (isRange ? text[i]! <= c && c <= text[i + 2]! : text[i] === c) return true;
      if (isRange) i += 2;
    }
    return false;
  };
  return (c) => holds(c) !== not;
}

/** After a star that took too little, only the last one is tried again: that is enough. */
function matches(text: string, tokens: readonly Token[]): boolean {
  let t = 0;
  let star = -1;
  let from = 0;
  for (let i = 0; i < text.length; ) {
    const token = tokens[t];
    if (token === 'any number') {
      star = t++;
      from = i;
    } else if (token?.(text[i]!) === true) {
      t++;
      i++;
    } else if (star >= 0) {
      t = star + 1;
      i = ++from;
    } else return false;
  }
  return tokens.slice(t).every((token) => token === 'any number');
}
