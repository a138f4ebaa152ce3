import { hasOwnName } from '../difference/member.ts';
import { sameValue } from '../difference/value.ts';
import { type ConfigObject, type ObjectId, objectId, type Value } from '../typed-configuration.ts';
import type { Closure, Part } from './closure.ts';
import type { Decide } from './decisions.ts';
import { type Anchor, placeIn } from './placement.ts';
import { type Prediction, predict } from './predict.ts';
import { type Renaming, renamedMention, renamedValue } from './rename.ts';
import { firstByValue, isItsValue, valueKey } from './same-value.ts';
import { localName, type Structure } from './structure.ts';
import type { Mention, WriteJob, WriteStep } from './writer.ts';

export interface GraftOptions {
  readonly decide: Decide;
  readonly anchor: Anchor;
  /** May theirs of the same value under another name serve in place of ours? */
  matchMay(object: ConfigObject, there: ConfigObject): boolean;
}

/**
 * What becomes of one part on the target.
 * - `found`: there already, with the same name and meaning;
 * - `matched`: theirs of another name and the same value serves, and mentions follow;
 * - `kept`, `taken`, `renamed`: a collision, decided;
 * - `added`: new there; `inside`: comes or stays with what it stands in.
 */
export type Fate =
  | { readonly how: 'found' | 'matched' | 'kept' | 'taken'; readonly there: ConfigObject }
  | { readonly how: 'renamed'; readonly there: ConfigObject; readonly name: string }
  | { readonly how: 'added' }
  | { readonly how: 'inside'; readonly outer: ConfigObject };

export interface Carried {
  readonly part: Part;
  readonly fate: Fate;
}

/** Why a graft cannot be carried out as asked; each needs a person's word. */
export interface Problem {
  readonly what: 'collision' | 'placement' | 'name taken';
  readonly object: ConfigObject;
  readonly there: ConfigObject | null;
  readonly sentence: string;
  /** What could be meant, or who uses theirs. */
  readonly candidates: readonly string[];
}

export interface GraftPlan {
  readonly carried: readonly Carried[];
  readonly problems: readonly Problem[];
  /** Theirs with the same value under another name, where it was not allowed to serve. */
  readonly offers: readonly { readonly object: ConfigObject; readonly there: ConfigObject }[];
  /** Chains and tables that are found there with another head: the target's stays. */
  readonly remarks: readonly string[];
  /** The work for a writer; no steps where there are problems. */
  readonly job: WriteJob;
  readonly prediction: Prediction;
}

/** Plans a graft onto one target. The closure is the source's and serves for every target. */
export function planGraft(
  source: Structure,
  closure: Closure,
  target: Structure,
  options: GraftOptions,
): GraftPlan {
  // A circle of mentions meets a name before it is decided: plan again until no name changes.
  let names: ReadonlyMap<ObjectId, Renaming> = new Map();
  for (let round = 0; ; round++) {
    const planner = new Planner(source, closure, target, options, names);
    const plan = planner.plan();
    const settled = sameNames(names, planner.names);
    if (settled || round > closure.parts.length) return plan;
    names = planner.names;
  }
}

class Planner {
  /** Mentions of a source object's id by their new texts (without sign). */
  readonly names = new Map<ObjectId, Renaming>();
  readonly #fates = new Map<ConfigObject, Fate>();
  readonly #problems: Problem[] = [];
  readonly #offers: { object: ConfigObject; there: ConfigObject }[] = [];
  readonly #remarks: string[] = [];
  readonly #steps: WriteStep[] = [];
  readonly #taken = new Set<ObjectId>();
  readonly #replaced = new Set<ConfigObject>();
  readonly #parts: ReadonlyMap<ConfigObject, Part>;
  readonly #known: ReadonlyMap<ObjectId, Renaming>;
  readonly #source: Structure;
  readonly #target: Structure;
  readonly #closure: Closure;
  readonly #options: GraftOptions;
  #byValue: ReadonlyMap<string, ConfigObject> | null = null;

  constructor(
    source: Structure,
    closure: Closure,
    target: Structure,
    options: GraftOptions,
    known: ReadonlyMap<ObjectId, Renaming>,
  ) {
    this.#source = source;
    this.#closure = closure;
    this.#target = target;
    this.#options = options;
    this.#known = known;
    this.#parts = new Map(closure.parts.map((part) => [part.object, part]));
  }

  plan(): GraftPlan {
    const rules: Part[] = [];
    for (const part of this.#closure.parts) {
      if (part.object.order !== null && this.#holderOf(part.object) === null) rules.push(part);
      else this.#settle(part);
    }
    this.#placeRules(rules);
    const steps = this.#problems.length > 0 ? [] : this.#steps;
    const mentionsIn = (object: ConfigObject) => this.#mentions(object);
    const job: WriteJob = { source: this.#source, target: this.#target, steps, mentionsIn };
    return {
      carried: this.#closure.parts.map((part) => ({ part, fate: this.#fates.get(part.object)! })),
      problems: this.#problems,
      offers: this.#offers,
      remarks: this.#remarks,
      job,
      prediction: predict(job, (object) => this.#renamings(object)),
    };
  }

  /** The object of a whole list that a member comes with; null when the member was chosen by itself. */
  #holderOf(object: ConfigObject): ConfigObject | null {
    const outer = this.#source.containerOf(object);
    return outer !== null && object.order !== null && this.#parts.get(outer)?.whole === true ? outer : null;
  }

  #settle(part: Part): void {
    const { object } = part;
    if (this.#fates.has(object)) return;
    const holder = this.#holderOf(object);
    if (holder !== null) {
      this.#fates.set(object, { how: 'inside', outer: holder });
      return;
    }
    const outer = this.#source.containerOf(object);
    const outerPart = outer === null ? undefined : this.#parts.get(outer);
    if (outerPart !== undefined) this.#settle(outerPart);
    this.#fates.set(object, this.#fateOf(part));
  }

  #fateOf({ object, role, whole }: Part): Fate {
    const there = this.#target.references.byId.get(object.id);
    const withList = whole && this.#source.contentsOf(object).some((inner) => inner.order !== null);
    if (there === undefined) {
      const match = this.#matchFor(object);
      if (match !== undefined) {
        if (this.#options.matchMay(object, match)) {
          this.#rename(object, localName(this.#target, match));
          return { how: 'matched', there: match };
        }
        this.#offers.push({ object, there: match });
      }
      this.#steps.push({ do: 'add', object, name: localName(this.#source, object), whole: withList });
      return { how: 'added' };
    }
    if (role === 'container' && !whole) {
      if (!this.#sameHead(object, there))
        this.#remarks.push(`${object.id} has another head on the target, which stays as it is.`);
      return { how: 'found', there };
    }
    if (this.#sameHead(object, there) && (!withList || this.#sameList(object, there)))
      return { how: 'found', there };
    return this.#collide(object, there, withList);
  }

  #collide(object: ConfigObject, there: ConfigObject, whole: boolean): Fate {
    const own = localName(this.#source, object);
    const decision = this.#options.decide(object, [object.name, own]);
    if (decision.do === 'keep') return { how: 'kept', there };
    if (decision.do === 'take') {
      this.#steps.push({ do: 'replace', object, there, whole });
      return { how: 'taken', there };
    }
    if (decision.do === 'rename') {
      const name = decision.to ?? this.#freeName(object, own);
      if (this.#isTaken(object, name)) {
        this.#problem('name taken', object, there, `The name ${name} is taken on the target as well`);
      } else {
        this.#rename(object, name);
        this.#taken.add(this.#idWith(object, name));
        this.#steps.push({ do: 'add', object, name, whole });
      }
      return { how: 'renamed', there, name };
    }
    const users = this.#target.references.usersOf(there.id).map((user) => user.name);
    this.#problem(
      'collision',
      object,
      there,
      `The target has ${object.kind} ${own} with another value${users.length === 0 ? '' : `, used there by ${users.length}`}`,
      users.slice(0, 12),
    );
    return { how: 'kept', there };
  }

  #placeRules(rules: readonly Part[]): void {
    const byList = new Map<string, Part[]>();
    for (const part of rules) {
      const { list } = part.object.order!;
      byList.set(list, [...(byList.get(list) ?? []), part]);
    }
    for (const [list, parts] of byList) {
      parts.sort((a, b) => a.object.order!.position - b.object.order!.position);
      const there = this.#target.list(list);
      const carried = new Set(parts.map(({ object }) => object));
      for (const { object } of parts) this.#fates.set(object, this.#ruleFate(object, carried, there));
    }
  }

  #ruleFate(object: ConfigObject, carried: ReadonlySet<ConfigObject>, there: readonly ConfigObject[]): Fate {
    const value = this.#valueThere(object);
    const same = (rule: ConfigObject) => rule.kind === object.kind && sameValue(rule.value, value);
    const named = hasOwnName(object);
    const found = there.find((rule) => same(rule) && (!named || rule.name === object.name));
    if (found !== undefined) return { how: 'found', there: found };
    const namesakes = named ? there.filter((rule) => rule.name === object.name) : [];
    let name = named ? object.name : null;
    let fate: Fate = { how: 'added' };
    if (namesakes.length > 0) {
      const theirs = namesakes[0]!;
      const decision = this.#options.decide(object, [object.name]);
      if (decision.do === 'keep') return { how: 'kept', there: theirs };
      if (decision.do === 'take' && namesakes.length === 1 && !this.#replaced.has(theirs)) {
        this.#replaced.add(theirs);
        this.#steps.push({ do: 'replace', object, there: theirs, whole: false });
        return { how: 'taken', there: theirs };
      }
      if (decision.do !== 'rename') {
        const which = namesakes.length === 1 ? 'a rule' : `${namesakes.length} rules`;
        const sentence = `The target has ${which} "${object.name}" with another value`;
        this.#problem('collision', object, theirs, sentence, namesakes.map(placeName));
        return { how: 'kept', there: theirs };
      }
      name = decision.to ?? `${object.name}_grafted`;
      fate = { how: 'renamed', there: theirs, name };
    }
    const own = this.#source.list(object.order!.list);
    const placement = placeIn(this.#options.anchor, own, carried, object, there);
    if ('index' in placement) this.#steps.push({ do: 'insert', object, index: placement.index, name });
    else {
      const sentence = `Where "${object.name}" goes in ${object.order!.list} is not clear: ${placement.why}`;
      this.#problem('placement', object, null, sentence, placement.candidates);
    }
    return fate;
  }

  #problem(
    what: Problem['what'],
    object: ConfigObject,
    there: ConfigObject | null,
    sentence: string,
    candidates: readonly string[] = [],
  ): void {
    this.#problems.push({ what, object, there, sentence: `${sentence}.`, candidates });
  }

  #sameHead(object: ConfigObject, there: ConfigObject): boolean {
    return there.kind === object.kind && sameValue(there.value, this.#valueThere(object));
  }

  #sameList(object: ConfigObject, there: ConfigObject): boolean {
    const ours = this.#source.contentsOf(object);
    const theirs = this.#target.contentsOf(there);
    return ours.length === theirs.length && ours.every((rule, i) => this.#sameHead(rule, theirs[i]!));
  }

  /** The value as it would read on the target. */
  #valueThere(object: ConfigObject): Value {
    return renamedValue(object.value, this.#renamings(object));
  }

  #renamings(object: ConfigObject): Renaming[] {
    return object.references.flatMap(({ to, text }) => {
      const renaming = this.names.get(to) ?? this.#known.get(to);
      return renaming === undefined ? [] : [{ from: text, to: renamedMention(text, renaming) }];
    });
  }

  #mentions(object: ConfigObject): Mention[] {
    return object.references.flatMap(({ to, text, place }) => {
      const renaming = this.names.get(to);
      return renaming === undefined ? [] : [{ place, from: text, to: renamedMention(text, renaming) }];
    });
  }

  #rename(object: ConfigObject, to: string): void {
    const from = localName(this.#source, object);
    if (from !== to) this.names.set(object.id, { from, to });
  }

  /** Theirs of the same kind and value, standing in the same thing, under another name. */
  #matchFor(object: ConfigObject): ConfigObject | undefined {
    if (!isItsValue(object)) return undefined;
    this.#byValue ??= firstByValue(this.#target);
    return this.#byValue.get(valueKey(this.#source, object, this.#valueThere(object)));
  }

  #freeName(object: ConfigObject, own: string): string {
    for (let n = 1; ; n++) {
      const name = `${own}_grafted${n === 1 ? '' : n}`;
      if (!this.#isTaken(object, name)) return name;
    }
  }

  #isTaken(object: ConfigObject, name: string): boolean {
    const id = this.#idWith(object, name);
    return (
      this.#taken.has(id) || this.#target.references.byId.has(id) || this.#source.references.byId.has(id)
    );
  }

  #idWith(object: ConfigObject, name: string): ObjectId {
    const own = localName(this.#source, object);
    return objectId(object.kind, object.name.slice(0, object.name.length - own.length) + name);
  }
}

const placeName = ({ place }: ConfigObject): string => `${place.file}:${place.line}`;

function sameNames(a: ReadonlyMap<ObjectId, Renaming>, b: ReadonlyMap<ObjectId, Renaming>): boolean {
  return a.size === b.size && [...a].every(([id, { to }]) => b.get(id)?.to === to);
}
