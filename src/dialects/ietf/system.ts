import { type DataNode, leaf } from './data.ts';
import type { Reading } from './reading.ts';
import { dataValue } from './value.ts';

/** Reads `system` of ietf-system (RFC 7317): each leaf and container is a setting, each server and user its own. */
export function readSystem(top: DataNode, into: Reading): void {
  for (const part of top.children) {
    const entries = part.children.filter(
      (c) => (c.name === 'server' || c.name === 'user') && leaf(c, 'name') !== null,
    );
    for (const entry of entries) {
      const name = `${part.name} ${entry.name} ${leaf(entry, 'name')}`;
      into.add(entry, {
        kind: 'setting',
        name,
        section: `system ${part.name}`,
        value: dataValue(entry, ['name']),
      });
    }
    if (part.children.length > 0 && entries.length === part.children.length) continue;
    into.add(part, {
      kind: 'setting',
      name: part.name,
      section: 'system',
      value: dataValue(part, entries.length > 0 ? ['server', 'user'] : []),
    });
  }
}
