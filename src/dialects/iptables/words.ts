/** Words of a rule line: parted by blanks, `"…"` is one word, `\` takes the next character as it is. */
export function wordsOf(line: string): string[] {
  const words: string[] = [];
  let word = '';
  let open = false;
  let any = false;
  for (let i = 0; i < line.length; i++) {
    const c = line[i]!;
    if (c === '\\' && i + 1 < line.length) word += line[++i]!;
    else if (c === '"') {
      open = !open;
      any = true;
    } else if (!open && (c === ' ' || c === '\t' || c === '\r')) {
      if (word !== '' || any) words.push(word);
      word = '';
      any = false;
    } else word += c;
  }
  if (word !== '' || any) words.push(word);
  return words;
}

/** One option of a rule: `! --dport 22` and the like. */
export interface Option {
  /** The match or target module it stands under, for example `tcp`; empty for the general ones. */
  readonly module: string;
  readonly name: string;
  readonly values: readonly string[];
  readonly negated: boolean;
}

const GENERAL: ReadonlySet<string> = new Set([
  '-p',
  '-s',
  '-d',
  '-i',
  '-o',
  '-f',
  '-j',
  '-g',
  '-m',
  '-c',
  '-4',
  '-6',
]);

const LONG: Readonly<Record<string, string>> = {
  '--protocol': '-p',
  '--source': '-s',
  '--src': '-s',
  '--destination': '-d',
  '--dst': '-d',
  '--in-interface': '-i',
  '--out-interface': '-o',
  '--fragment': '-f',
  '--jump': '-j',
  '--goto': '-g',
  '--match': '-m',
  '--set-counters': '-c',
};

/** The options of a rule, in order. An option takes the words up to the next one that begins with a dash. */
export function optionsOf(words: readonly string[]): Option[] {
  const options: Option[] = [];
  let module = '';
  let negated = false;
  let i = 0;
  while (i < words.length) {
    const word = words[i++]!;
    if (word === '!') {
      negated = true;
      continue;
    }
    const name = LONG[word] ?? word;
    const values: string[] = [];
    while (i < words.length && !isOption(words[i]!)) {
      if (words[i] !== '!') values.push(words[i]!);
      // The older order: `-s ! 10.0.0.0/8`.
      else if (values.length === 0) negated = true;
      else break;
      i++;
      // A comment may look like anything; it is one word.
      if (name === '--comment') break;
    }
    if (name === '-m' || name === '-j' || name === '-g') module = values[0] ?? '';
    options.push({ module: GENERAL.has(name) ? '' : module, name, values, negated });
    negated = false;
  }
  return options;
}

const isOption = (word: string): boolean => /^--?[A-Za-z]/.test(word) || word === '-4' || word === '-6';
