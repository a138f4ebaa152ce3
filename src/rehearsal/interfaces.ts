/** Most stand-ins made for one ruleset. */
const MOST = 500;

const QUOTED = /"([^"\s]+)"/g;
const WORD = /"?([\w.@-]+)"?/g;

/** Names in a brace or after a word: `{ "eth0" : jump a, eth1 : jump b }`, `eth0`. Targets of a map are left out. */
function names(text: string): string[] {
  return text.split(',').flatMap((item) => {
    const [name] = item.split(':', 1)[0]!.matchAll(WORD);
    return name === undefined ? [] : [name[1]!];
  });
}

/**
 * Interfaces that have to exist before a ruleset loads: the kernel knows `iif`, `oif` and the devices of a hook by
 * number, and asks for it at once. A name too many does no harm. Pure.
 */
export function interfacesNamed(texts: readonly string[], json: boolean): string[] {
  const found = new Set<string>();
  for (const whole of texts) {
    const text = json ? whole : whole.replace(/#.*$|\bcomment\s+"[^"]*"/gm, '');
    if (json) {
      for (const [, name] of text.matchAll(/"(?:dev|right)"\s*:\s*"([^"]+)"/g)) found.add(name!);
      for (const [, list] of text.matchAll(/"(?:dev|set)"\s*:\s*\[([^\]]*)\]/g))
        for (const [, name] of list!.matchAll(QUOTED)) found.add(name!);
      continue;
    }
    for (const [, list, one] of text.matchAll(
      /\b(?:(?:iif|oif|device)\b|devices\s*=)\s*(?:(?:==|!=)\s*)?(?:vmap\s*|map\s*)?(?:\{([^}]*)\}|("?[\w.@-]+"?))/g,
    ))
      for (const name of names(list ?? one!)) found.add(name);
    for (const [, list, one] of text.matchAll(/^\s*define\s+\w+\s*=\s*(?:\{([^}]*)\}|("?[\w.@-]+"?))/gm))
      for (const name of names(list ?? one!)) found.add(name);
  }
  // Linux takes names of at most 15 bytes (IFNAMSIZ less one); a bare number is none that anybody gives.
  const possible = [...found].filter((name) => /^(?=.*[A-Za-z])\w[\w.@-]{0,14}$/.test(name) && name !== 'lo');
  return possible.slice(0, MOST);
}
