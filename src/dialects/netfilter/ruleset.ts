import type { Chain, NamedSet, Place, Ruleset, Table, Worked } from './syntax.ts';

export function newRuleset(): Ruleset {
  return { tables: new Map(), defines: [], unread: [] };
}

/** The table, made when the ruleset lacks it. */
export function tableOf(ruleset: Ruleset, family: string, name: string, place: Place): Table {
  const key = `${family} ${name}`;
  const known = ruleset.tables.get(key);
  if (known !== undefined) return known;
  const table: Table = {
    family,
    name,
    place,
    dormant: false,
    comment: null,
    chains: new Map(),
    sets: new Map(),
    objects: new Map(),
  };
  ruleset.tables.set(key, table);
  return table;
}

/** For a rule whose statements were just read. */
export function nothingWorked(): Worked {
  return { value: null, excerpt: null, kind: 0, 4: undefined, 6: undefined };
}

export function newChain(name: string, place: Place): Chain {
  return { name, place, hook: null, policy: null, comment: null, rules: [] };
}

export function newSet(name: string, map: boolean, place: Place): NamedSet {
  return {
    name,
    place,
    map,
    type: '',
    dataType: '',
    flags: [],
    settings: [],
    comment: null,
    elements: [],
    mentions: [],
  };
}
