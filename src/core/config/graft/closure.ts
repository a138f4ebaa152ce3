import type { ConfigObject, Reference } from '../typed-configuration.ts';
import type { Structure } from './structure.ts';

/** One object that a graft has to do with. */
export interface Part {
  readonly object: ConfigObject;
  /** `container`: a chosen or needed object stands in it (the chain of a rule, the table of a set). */
  readonly role: 'chosen' | 'needed' | 'container';
  /** What asks for it; null when it was chosen. */
  readonly because: ConfigObject | null;
  /** With all that stands in it (a chain that a rule jumps to), or its head alone (the chain of a chosen rule). */
  readonly whole: boolean;
}

export interface Closure {
  /** What is needed comes before what needs it, except in circles; contents before what they stand in. */
  readonly parts: readonly Part[];
  /** Mentions that lead nowhere in the source itself. */
  readonly dangling: readonly { readonly from: ConfigObject; readonly reference: Reference }[];
}

const CHOSEN = { role: 'chosen', because: null, whole: true } as const;

/** The chosen objects with all that they need, however far away; circular mentions end where they began. */
export function closureOf(structure: Structure, chosen: readonly ConfigObject[]): Closure {
  const parts = new Map<ConfigObject, Part>();
  const order = new Set<ConfigObject>();
  const dangling: { from: ConfigObject; reference: Reference }[] = [];
  const { byId } = structure.references;
  const asked = new Set(chosen);

  // Chains of mentions may be long (a group in a group in a group): a stack of our own, not the language's.
  type Task = { readonly enter: Part } | { readonly leave: ConfigObject };
  const follow = (first: Part): void => {
    const stack: Task[] = [{ enter: first }];
    for (let task = stack.pop(); task !== undefined; task = stack.pop()) {
      if ('leave' in task) {
        order.add(task.leave);
        continue;
      }
      // What was chosen is never merely needed, however it is met first.
      const part = asked.has(task.enter.object) ? { ...task.enter, ...CHOSEN } : task.enter;
      const known = parts.get(part.object);
      if (known !== undefined && (known.whole || !part.whole)) continue;
      parts.set(
        part.object,
        known === undefined ? part : { ...known, role: stronger(known, part), whole: true },
      );
      if (known === undefined) stack.push({ leave: part.object });
      for (const enter of next(part, known).reverse()) stack.push({ enter });
    }
  };
  const next = (part: Part, known: Part | undefined): Part[] => {
    const { object, role, whole } = part;
    const found: Part[] = [];
    if (whole) {
      for (const inner of structure.contentsOf(object))
        found.push({ object: inner, role: role === 'container' ? 'needed' : role, because: object, whole });
    }
    if (known !== undefined) return found;
    for (const reference of object.references) {
      const needed = byId.get(reference.to);
      if (needed === undefined) dangling.push({ from: object, reference });
      else found.push({ object: needed, role: 'needed', because: object, whole: true });
    }
    const outer = structure.containerOf(object);
    if (outer !== null) found.push({ object: outer, role: 'container', because: object, whole: false });
    return found;
  };
  for (const object of chosen) follow({ object, ...CHOSEN });
  return { parts: [...order].map((object) => parts.get(object)!), dangling };
}

function stronger(a: Part, b: Part): Part['role'] {
  const rank = { chosen: 0, needed: 1, container: 2 };
  return rank[a.role] <= rank[b.role] ? a.role : b.role;
}
