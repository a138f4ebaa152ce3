import type { Family } from '#core/address';
import type { ObjectKind, Value } from '#core/config';
import { child, childrenNamed, type DataNode, eachNamed, leaf, placeOf, withoutPrefix } from './data.ts';
import { type Entry, readEntry } from './entry.ts';
import type { Reading } from './reading.ts';
import { dataValue } from './value.ts';

/** The families a list type speaks of (RFC 8519 section 4.1); lists without or with another type: both. */
function familiesOf(type: string | null): readonly Family[] {
  switch (type === null ? null : withoutPrefix(type)) {
    case 'ipv4-acl-type':
    case 'mixed-eth-ipv4-acl-type':
      return [4];
    case 'ipv6-acl-type':
    case 'mixed-eth-ipv6-acl-type':
      return [6];
    default:
      return [4, 6];
  }
}

/** Reads `acls` of ietf-access-control-list (RFC 8519). */
export function readAccessLists(top: DataNode, into: Reading): void {
  for (const part of top.children) {
    if (part.name === 'acl') readList(part, into);
    else if (part.name === 'attachment-points')
      for (const point of part.children) readAttachment(point, into);
    else into.leave(part, `The module ${part.module} is not read.`, null, true);
  }
}

function readList(node: DataNode, into: Reading): void {
  const name = leaf(node, 'name');
  if (name === null) {
    into.leave(node, 'The access list has no name.', null, true);
    return;
  }
  const chain = into.add(node, {
    kind: 'chain',
    name,
    section: 'access lists',
    value: dataValue(node, ['name', 'aces']),
  });
  into.leaveOthers(node, ['name', 'type', 'aces'], chain.id);
  if (into.lists.some((other) => other.name === name)) {
    into.leave(
      node,
      `The access list ${name} is there twice; which one counts is not known.`,
      chain.id,
      true,
    );
  }
  const families = familiesOf(leaf(node, 'type'));
  const aces = child(node, 'aces');
  into.leaveOthers(aces, ['ace'], chain.id);
  const entries: Entry[] = [];
  const section = `access list ${name}`;
  const list = `acl ${name}`;
  for (const ace of eachNamed(aces, 'ace')) {
    const position = entries.length;
    const references: [ObjectKind, string, DataNode][] = [];
    const matches = child(ace, 'matches');
    for (const side of ['ingress-interface', 'egress-interface']) {
      const at = child(matches, side);
      if (at?.text != null) references.push(['interface', at.text, at]);
    }
    const rule = into.add(ace, {
      kind: 'rule',
      name: leaf(ace, 'name') ?? `${list} ${position}`,
      section,
      value: dataValue(ace, ['name', 'statistics']),
      order: { list, position },
      references,
    });
    into.leaveOthers(ace, ['name', 'matches', 'actions', 'statistics'], rule.id);
    const entry = readEntry(ace, families);
    for (const { node: at, why } of entry.problems) into.leave(at, why, rule.id, true);
    entries.push(entry);
  }
  const { file, line } = placeOf(node);
  into.lists.push({ name, families, entries, file, line });
}

function readAttachment(point: DataNode, into: Reading): void {
  const id = child(point, 'interface-id');
  if (point.name !== 'interface' || id?.text == null) {
    into.leave(point, 'This attachment point is not read.', null, true);
    return;
  }
  into.leaveOthers(point, ['interface-id', 'ingress', 'egress'], null);
  for (const direction of ['ingress', 'egress'] as const) {
    const node = child(point, direction);
    if (node === undefined) continue;
    const sets = childrenNamed(child(node, 'acl-sets'), 'acl-set');
    const names = sets.flatMap((set) => leaf(set, 'name') ?? []);
    const value: Value = { interface: id.text, direction, lists: names };
    const setting = into.add(node, {
      kind: 'setting',
      name: `${direction} of ${id.text}`,
      section: 'access list attachments',
      value,
      references: [
        ['interface', id.text, id],
        ...sets.flatMap((set): [ObjectKind, string, DataNode][] =>
          leaf(set, 'name') === null ? [] : [['chain', leaf(set, 'name')!, set]],
        ),
      ],
    });
    into.leaveOthers(node, ['acl-sets'], setting.id);
    into.leaveOthers(child(node, 'acl-sets'), ['acl-set'], setting.id);
    for (const set of sets) into.leaveOthers(set, ['name', 'ace-statistics'], setting.id);
    const { file, line } = placeOf(node);
    into.attachments.push({ interface: id.text, direction, lists: names, file, line });
  }
}
