import type { ObjectKind } from '#core/config';
import { child, childrenNamed, type DataNode, leaf } from './data.ts';
import type { Reading } from './reading.ts';
import { dataValue, leafValue } from './value.ts';

/** Reads `routing` of ietf-routing: static routes, and the rest as settings (RFC 8349). Routes in `ribs` are state. */
export function readRouting(top: DataNode, into: Reading): void {
  for (const part of top.children) {
    if (part.name === 'control-plane-protocols')
      for (const protocol of part.children) readProtocol(protocol, into);
    else if (part.name === 'ribs') {
      for (const rib of part.children) {
        const name = leaf(rib, 'name');
        if (name !== null)
          into.add(rib, {
            kind: 'setting',
            name: `rib ${name}`,
            section: 'routing',
            value: dataValue(rib, ['name', 'routes', 'description', 'default-rib']),
            comment: leaf(rib, 'description'),
          });
      }
    } else if (part.name === 'router-id') {
      into.add(part, { kind: 'setting', name: 'router-id', section: 'routing', value: dataValue(part) });
    } else if (part.name !== 'interfaces') into.leave(part, 'This part of routing is not read.', null, true);
  }
}

function readProtocol(protocol: DataNode, into: Reading): void {
  const name = leaf(protocol, 'name') ?? '';
  const section = `routing ${name}`;
  const type = String(leafValue('type', leaf(protocol, 'type') ?? ''));
  const routes = child(protocol, 'static-routes');
  const rest = dataValue(protocol, ['static-routes', 'description', 'name']);
  const object = into.add(protocol, {
    kind: 'section',
    name: section,
    section,
    value: rest,
    comment: leaf(protocol, 'description'),
  });
  if (type !== 'static') into.leave(protocol, `The routing protocol ${type} is not read.`, object.id, true);
  into.leaveOthers(routes, ['ipv4', 'ipv6'], object.id);
  for (const family of ['ipv4', 'ipv6']) {
    for (const route of routes === undefined ? [] : childrenNamed(child(routes, family), 'route'))
      readRoute(route, family, section, into);
  }
}

function readRoute(route: DataNode, family: string, section: string, into: Reading): void {
  const destination = leaf(route, 'destination-prefix');
  if (destination === null) {
    into.leave(route, 'The route has no destination.', null, true);
    return;
  }
  const hop = child(route, 'next-hop');
  const hops = hop === undefined ? [] : [hop, ...childrenNamed(child(hop, 'next-hop-list'), 'next-hop')];
  const references = hops.flatMap((one): [ObjectKind, string, DataNode][] => {
    const out = child(one, 'outgoing-interface');
    return out?.text == null ? [] : [['interface', out.text, out]];
  });
  into.add(route, {
    kind: 'route',
    name: `${leafValue('destination-prefix', destination)} (${section.replace(/^routing /, '')})`,
    section,
    value: { family, ...(dataValue(route, ['description']) as object) },
    comment: leaf(route, 'description'),
    references,
  });
}
