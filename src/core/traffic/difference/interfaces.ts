import { type NumberSet, numbers } from '#core/address';
import { inInterfaces } from '../decide.ts';
import type { InterfaceSet } from '../policy.ts';

/** Interface names that no rule tells apart: one name, or all names with a beginning except those with an atom of their own. */
export interface InterfaceAtom {
  /** The name, or the common beginning of the names. */
  readonly text: string;
  readonly single: boolean;
  /** A name of this kind, for an example packet. */
  readonly example: string;
}

/** The interface names of two policies as numbers. The last atom is "any name that is not mentioned". */
export class InterfaceNames {
  readonly atoms: readonly InterfaceAtom[];
  private readonly known = new Map<InterfaceSet, NumberSet | undefined>();

  constructor(mentioned: Iterable<string>) {
    const names = new Set(mentioned);
    const singles = [...names].filter((n) => !n.endsWith('*') && n !== '').sort();
    const beginnings = [...names].filter((n) => n.endsWith('*') && n !== '*').map((n) => n.slice(0, -1));
    // Longest first: "eth1*" is carved out of "eth*".
    beginnings.sort((a, b) => b.length - a.length || (a < b ? -1 : 1));
    this.atoms = [
      ...singles.map((text) => ({ text, single: true, example: text })),
      ...[...beginnings, ''].map((text) => ({
        text,
        single: false,
        example: unusedName(text, singles, beginnings),
      })),
    ];
  }

  /** Atoms in the set; undefined when it holds every name. */
  numbersOf(set: InterfaceSet | undefined): NumberSet | undefined {
    if (set === undefined) return undefined;
    if (this.known.has(set)) return this.known.get(set);
    const inside = this.atoms.flatMap((atom, i) => (inInterfaces(set, atom.example) ? [i] : []));
    const result = inside.length === this.atoms.length ? undefined : numbers(...inside);
    this.known.set(set, result);
    return result;
  }
}

/**
 * A name that begins so and belongs to no other atom. There always is one: a name or beginning that is taken rules out
 * at most one of the characters that may follow `beginning`.
 */
function unusedName(beginning: string, singles: readonly string[], beginnings: readonly string[]): string {
  const longer = beginnings.filter((b) => b.length > beginning.length && b.startsWith(beginning));
  const taken = (name: string) => singles.includes(name) || longer.some((b) => name.startsWith(b));
  const stems = beginning === '' ? ['other', 'link', ''] : [beginning];
  for (let n = 0; ; n++) {
    const free = stems.map((stem) => stem + characterAt(n)).find((name) => !taken(name));
    if (free !== undefined) return free;
  }
}

const ORDINARY = '0123456789abcdefghijklmnopqrstuvwxyz';

/** Digits and letters first, then whatever Unicode has from Latin Extended-A on. */
function characterAt(n: number): string {
  return ORDINARY[n] ?? String.fromCodePoint(0x100 + n - ORDINARY.length);
}
