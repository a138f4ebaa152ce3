import type { ObjectKind } from '../typed-configuration.ts';
import type { ObjectChange, ObjectDifference } from './compare.ts';

/** The changes of one kind under one heading. */
export interface ChangeGroup {
  readonly kind: ObjectKind;
  readonly section: string;
  readonly changes: readonly ObjectChange[];
}

/** Kinds in the order a reader wants them: what decides traffic first, then what it is made of, then the rest. */
const READING_ORDER: readonly ObjectKind[] = [
  'rule',
  'nat',
  'chain',
  'table',
  'map',
  'address',
  'address-group',
  'service',
  'service-group',
  'zone',
  'interface',
  'route',
  'setting',
  'section',
];

/** Groups the changes by kind, then by section in the order they first appear. */
export function groupChanges(difference: Pick<ObjectDifference, 'changes'>): ChangeGroup[] {
  const groups = new Map<string, { kind: ObjectKind; section: string; changes: ObjectChange[] }>();
  for (const change of difference.changes) {
    const { section } = (change.after ?? change.before)!;
    const key = `${change.kind} ${section}`;
    const group = groups.get(key) ?? groups.set(key, { kind: change.kind, section, changes: [] }).get(key)!;
    group.changes.push(change);
  }
  return [...groups.values()].sort((a, b) => READING_ORDER.indexOf(a.kind) - READING_ORDER.indexOf(b.kind));
}
