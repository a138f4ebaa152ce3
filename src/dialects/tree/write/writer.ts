import {
  type ConfigObject,
  type Edit,
  type GraftWriter,
  localName,
  type TypedConfiguration,
  type WriteJob,
  type WriteStep,
} from '#core/config';
import { cannotWrite } from '../../carry/index.ts';
import { parentOf, type Stand } from '../copy.ts';
import { insertNode } from '../edit.ts';
import type { Tree, TreeNode } from '../node.ts';
import { layoutOf, render } from '../render.ts';
import { copied, type Growing } from './new-node.ts';

/** Where an object stands in its tree. */
export type StandOf = (configuration: TypedConfiguration, object: ConfigObject) => Stand | undefined;

export function treeWriter(standOf: StandOf): GraftWriter {
  return { write: (job) => new Writer(job, standOf).write() };
}

/** A place for a new node: a node of the target, or one that this graft makes. */
type Home = { readonly tree: Tree; readonly node: TreeNode } | { readonly growing: Growing };

interface Planted {
  readonly home: Extract<Home, { tree: Tree }>;
  readonly index: number;
  readonly node: Growing;
}

class Writer {
  readonly #job: WriteJob;
  readonly #standOf: StandOf;
  readonly #edits: Edit[] = [];
  readonly #planted: Planted[] = [];
  /** Nodes made for source objects. */
  readonly #made = new Map<ConfigObject, Growing>();
  /** Nodes made around them, by where they go and their path. */
  readonly #around = new Map<TreeNode, Map<string, Growing>>();

  constructor(job: WriteJob, standOf: StandOf) {
    this.#job = job;
    this.#standOf = standOf;
  }

  write(): readonly Edit[] {
    for (const step of this.#job.steps) {
      if (step.do === 'replace') this.#replace(step.object, step.there, step.whole);
      else this.#plant(step);
    }
    for (const { home, index, node } of this.#planted) {
      const crowded = this.#planted.filter((other) => other.home.node === home.node).length > 1;
      if (home.node.children.length === 0 && crowded && home.node.kind !== 'root') {
        const place = this.#job.steps[0]!.object.place;
        throw cannotWrite(
          'Several parts go into a list that is empty there.',
          place,
          'Carry one of them first, then the rest.',
        );
      }
      this.#edits.push(insertNode(home.tree, home.node, index, node));
    }
    return this.#edits;
  }

  #plant(step: Exclude<WriteStep, { do: 'replace' }>): void {
    const { object } = step;
    const stand = this.#standIn(this.#job.source.configuration, object);
    const from = object.order === null ? localName(this.#job.source, object) : object.name;
    const rename = step.name === null ? null : { from, to: step.name };
    const whole = step.do === 'insert' || step.whole;
    const node = copied(this.#job, object, stand, rename, this.#apart(object, whole));
    this.#made.set(object, node);
    const beside = step.do === 'insert' ? this.#beside(object, step.index) : null;
    if (beside !== null) {
      this.#planted.push({ ...beside, node });
      return;
    }
    const home = this.#homeOf(object, stand);
    if ('growing' in home) home.growing.children.push(node);
    else this.#planted.push({ home, index: behindAlike(home.node, stand.node), node });
  }

  /** Nodes of contents that do not come with their container's node. */
  #apart(object: ConfigObject, whole: boolean): ReadonlySet<TreeNode> {
    const apart = this.#job.source.contentsOf(object).filter(({ order }) => !whole || order === null);
    return new Set(apart.map((inner) => this.#standIn(this.#job.source.configuration, inner).node));
  }

  #beside(object: ConfigObject, index: number): Omit<Planted, 'node'> | null {
    const there = this.#job.target.list(object.order!.list);
    const neighbour = there[index] ?? there[index - 1];
    if (neighbour === undefined) return null;
    const stand = this.#standIn(this.#job.target.configuration, neighbour);
    const parent = parentOf(stand)!;
    const at = parent.children.indexOf(stand.node) + (there[index] === undefined ? 1 : 0);
    return { home: { tree: stand.tree, node: parent }, index: at };
  }

  /** Where the object's node goes: the same way down from its container, or from the top. Missing steps are made. */
  #homeOf(object: ConfigObject, stand: Stand): Home {
    const outer = this.#job.source.containerOf(object);
    const outerStand = outer === null ? undefined : this.#standIn(this.#job.source.configuration, outer);
    const way: TreeNode[] = [];
    for (let at = parentOf(stand); at !== undefined; at = parentOf({ tree: stand.tree, node: at })) {
      if (at === outerStand?.node) break;
      if (at.kind !== 'root' || outerStand === undefined) way.unshift(at);
    }
    let home = this.#startOf(outer, stand.tree);
    // The root of one tree answers to the root of the other.
    for (const node of outerStand === undefined ? way.slice(1) : way) home = this.#step(home, node, object);
    return home;
  }

  #startOf(outer: ConfigObject | null, tree: Tree): Home {
    if (outer !== null) {
      const growing = this.#made.get(outer);
      if (growing !== undefined) return { growing };
      const there = this.#job.target.references.byId.get(outer.id);
      if (there !== undefined) return this.#standIn(this.#job.target.configuration, there);
    }
    const { configuration } = this.#job.target;
    const trees = new Set(
      configuration.objects.flatMap((object) => this.#standOf(configuration, object)?.tree ?? []),
    );
    const fitting = [...trees].filter(({ format }) => format === tree.format);
    const named = fitting.find(({ source }) => source.file === tree.source.file) ?? fitting[0];
    if (named !== undefined) return { tree: named, node: named.root };
    const place = this.#job.steps[0]!.object.place;
    throw cannotWrite(
      `The target has no ${tree.format} file with objects in it.`,
      place,
      'Put one object there by hand first.',
    );
  }

  #step(home: Home, node: TreeNode, object: ConfigObject): Home {
    if (node.name === '') {
      throw cannotWrite(
        'The entry around this part has no name to find it by on the target.',
        object.place,
        'Take the part around it.',
      );
    }
    const alike = (one: { name: string; kind?: TreeNode['kind'] }) =>
      one.name === node.name && (one.kind ?? node.kind) === node.kind;
    if ('growing' in home) {
      const known = home.growing.children.find(alike);
      if (known !== undefined) return { growing: known };
      const made: Growing = { ...node, children: [] };
      home.growing.children.push(made);
      return { growing: made };
    }
    const found = home.node.children.find(alike);
    if (found !== undefined) return { tree: home.tree, node: found };
    const around = this.#around.get(home.node) ?? new Map<string, Growing>();
    this.#around.set(home.node, around);
    const known = around.get(node.name);
    if (known !== undefined) return { growing: known };
    const made: Growing = { ...node, children: [] };
    around.set(node.name, made);
    this.#planted.push({ home, index: home.node.children.length, node: made });
    return { growing: made };
  }

  #replace(object: ConfigObject, there: ConfigObject, whole: boolean): void {
    const ours = this.#standIn(this.#job.source.configuration, object);
    const theirs = this.#standIn(this.#job.target.configuration, there);
    const contents = this.#job.target.contentsOf(there).filter(({ order }) => !whole || order === null);
    if (contents.length > 0) {
      throw cannotWrite(
        `${there.name} holds parts that a replacement would take away.`,
        there.place,
        'Keep theirs, or rename ours.',
      );
    }
    const node = copied(this.#job, object, ours, null, this.#apart(object, whole));
    const { text } = theirs.tree.source;
    const line = text.lastIndexOf('\n', theirs.node.start - 1) + 1;
    const indent = /^[ \t]*/.exec(text.slice(line, theirs.node.start))![0];
    const parent = parentOf(theirs) ?? theirs.tree.root;
    this.#edits.push({
      place: theirs.tree.source.span(theirs.node.start, theirs.node.end),
      text: render(theirs.tree, node, indent, layoutOf(theirs.tree), parent),
    });
  }

  #standIn(configuration: TypedConfiguration, object: ConfigObject): Stand {
    const stand = this.#standOf(configuration, object);
    if (stand !== undefined) return stand;
    throw cannotWrite(
      `Where ${object.name} stands is not known well enough to write it.`,
      object.place,
      'Carry it by hand.',
    );
  }
}

/** Behind the last node of the same name among the children; else at the end. */
function behindAlike(parent: TreeNode, node: TreeNode): number {
  const last = parent.children.findLastIndex(({ name }) => name === node.name);
  return last < 0 ? parent.children.length : last + 1;
}
