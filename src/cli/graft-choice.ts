import { type ChoiceBranch, type Closure, treeOf } from '#core/config';
import type { PreparedGraft } from '#runs';

/** What a graft carries out of one language: what was chosen, and what it needs. */
interface ChosenTree {
  readonly dialect: string;
  readonly files: readonly string[];
  readonly chosen: readonly ChoiceBranch[];
  readonly needed: readonly ChoiceBranch[];
}

/** Names shown of a branch; the count says how many there are. */
const SHOWN = 8;

/** The choice as plain data, for JSON. */
export function choiceData({ parts }: PreparedGraft): ChosenTree[] {
  return parts.map(({ part, choice, closure }) => ({
    dialect: part.dialect.name,
    files: part.files.map(({ name }) => name),
    chosen: choice.tree,
    needed: treeOf(neededOf(closure)),
  }));
}

/** The choice as a tree with counts, before anything happens. */
export function choiceText(graft: PreparedGraft, from: string): string {
  const trees = choiceData(graft);
  const sum = (which: 'chosen' | 'needed') =>
    trees.reduce((total, tree) => total + tree[which].reduce((n, { count }) => n + count, 0), 0);
  const [chosen, needed] = [sum('chosen'), sum('needed')];
  const lines = [
    `From ${from}: ${chosen} ${chosen === 1 ? 'object' : 'objects'} chosen${needed === 0 ? `, which ${chosen === 1 ? 'needs' : 'need'} nothing more` : `, and ${needed} that ${chosen === 1 ? 'it needs' : 'they need'}`}.`,
  ];
  for (const tree of trees) {
    lines.push(`  ${tree.files.join(', ')} (${tree.dialect})`);
    const sections = new Set([...tree.chosen, ...tree.needed].map(({ section }) => section));
    for (const section of sections) {
      if (section !== '') lines.push(`    ${section}`);
      const indent = section === '' ? '    ' : '      ';
      for (const which of ['chosen', 'needed'] as const)
        for (const branch of tree[which])
          if (branch.section === section) lines.push(`${indent}${which}: ${branchText(branch)}`);
    }
  }
  return lines.join('\n');
}

/** What comes because something chosen needs it; heads of chains and tables around a chosen rule do not count. */
function neededOf({ parts }: Closure) {
  return parts.filter(({ role, whole }) => role === 'needed' && whole).map(({ object }) => object);
}

function branchText({ kind, count, names }: ChoiceBranch): string {
  const more = count > SHOWN ? ` and ${count - SHOWN} more` : '';
  return `${count} ${kind}: ${names.slice(0, SHOWN).join(', ')}${more}`;
}
