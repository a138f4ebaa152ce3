import type { SourceFile, Span, Value } from '#core/config';
import { readTree, spanOf, type Tree, type TreeNode } from '#dialects/tree';

/** A section of a networkd file with its settings; a setting may be given several times. */
export interface NetworkdSection {
  readonly name: string;
  readonly settings: ReadonlyMap<string, readonly string[]>;
  readonly node: TreeNode;
  readonly place: Span;
}

export interface NetworkdFile {
  readonly file: string;
  readonly tree: Tree;
  readonly place: Span;
  readonly sections: readonly NetworkdSection[];
  /** Lines that are neither a section nor a setting. */
  readonly strange: readonly Span[];
}

/** Reads a .network, .netdev or .link file (systemd.syntax(7)): an empty value takes back what was given before. */
export function readNetworkdFile(file: SourceFile): NetworkdFile {
  const tree = readTree(file, 'ini');
  const strange: Span[] = [];
  const sections = tree.root.children.flatMap((node): NetworkdSection[] => {
    if (node.kind !== 'section') {
      strange.push(spanOf(tree, node));
      return [];
    }
    const settings = new Map<string, readonly string[]>();
    for (const child of node.children) {
      if (child.kind === 'statement') strange.push(spanOf(tree, child));
      else if (child.value === '' || child.value === null) settings.set(child.name, []);
      else settings.set(child.name, [...(settings.get(child.name) ?? []), child.value]);
    }
    return [{ name: node.name, settings, node, place: spanOf(tree, node) }];
  });
  return { file: file.name, tree, place: spanOf(tree, tree.root), sections, strange };
}

export function setting(section: NetworkdSection | undefined, name: string): string | null {
  return section?.settings.get(name)?.at(-1) ?? null;
}

/** The settings of a section as a value: one text, or a list where given several times. */
export function settingsValue(
  section: NetworkdSection,
  except: readonly string[] = [],
): { readonly [name: string]: Value } {
  const kept = [...section.settings].filter(([name, values]) => !except.includes(name) && values.length > 0);
  return Object.fromEntries(
    kept.map(([name, values]) => [name, values.length === 1 ? values[0]! : [...values].sort()]),
  );
}

/** Settings of all sections of one name, the place of a setting included. */
export function placeOfSetting(section: NetworkdSection, name: string, tree: Tree): Span {
  const node = section.node.children.find((child) => child.name === name);
  return node === undefined ? section.place : spanOf(tree, node);
}
