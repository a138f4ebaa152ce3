/** Does a name with `/` between its parts match a glob? `*` and `?` stop at `/`, `**` does not. */
export function matchesGlob(name: string, glob: string): boolean {
  const source = glob
    .split(/(\*\*\/?|\*|\?)/u)
    .map((part) => {
      if (part === '**/') return '(?:.*/)?';
      if (part === '**') return '.*';
      if (part === '*') return '[^/]*';
      if (part === '?') return '[^/]';
      return part.replace(/[\\^$.*+?()[\]{}|/]/gu, '\\$&');
    })
    .join('');
  return new RegExp(`^${source}$`, 'su').test(name);
}

export function matchesAny(name: string, globs: readonly string[]): boolean {
  return globs.some((glob) => matchesGlob(name, glob));
}
