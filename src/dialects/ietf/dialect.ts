import type { ConfigObject, Dialect, TypedConfiguration } from '#core/config';
import { applyEdits } from '#dialects/source';
import type { Stand } from '#dialects/tree';
import { readAccessLists } from './access-lists.ts';
import { type DataNode, readData } from './data.ts';
import { readInterfaces } from './interfaces.ts';
import { policyOf } from './policy.ts';
import { Reading } from './reading.ts';
import { readRouting } from './routing.ts';
import { readSystem } from './system.ts';

/** Top-level nodes of these modules say nothing about traffic. */
const OUTSIDE_TRAFFIC =
  /^ietf-(?:yang-library|netconf|restconf|system|alarms|hardware|snmp|keystore|truststore|datastores|origin)/;

/** Reads one top-level node. State trees (RFC 8343 and RFC 8349 keep old ones) are passed over: not configuration. */
function readTop(node: DataNode, into: Reading): void {
  if (/-state$/.test(node.name)) return;
  switch (`${node.module}:${node.name}`) {
    case 'ietf-interfaces:interfaces':
      readInterfaces(node, into);
      break;
    case 'ietf-access-control-list:acls':
      readAccessLists(node, into);
      break;
    case 'ietf-routing:routing':
      readRouting(node, into);
      break;
    case 'ietf-system:system':
      readSystem(node, into);
      break;
    default:
      into.leave(
        node,
        `The module ${node.module === '' ? '(none)' : node.module} is not read.`,
        null,
        !OUTSIDE_TRAFFIC.test(node.module),
      );
  }
}

function readingOf(configuration: TypedConfiguration): Reading {
  return configuration.syntax as Reading;
}

/** Where an object of a configuration that this dialect read stands in its tree. */
export function standOf(configuration: TypedConfiguration, object: ConfigObject): Stand | undefined {
  return readingOf(configuration).stands.get(object);
}

/** IETF YANG instance data, in XML (RFC 7950) or JSON (RFC 7951). */
export const ietf: Dialect = {
  name: 'ietf',
  title: 'IETF instance data, XML or JSON (RFC 8519, 8343, 8344, 8349, 7317)',
  recognises({ text }) {
    const head = text.slice(0, 8192);
    if (/^\ufeff?\s*</.test(head)) return /urn:ietf:params:xml:ns:yang:ietf-/.test(head) ? 0.98 : 0;
    return /^\ufeff?\s*\{/.test(head) && /"ietf-[a-z0-9-]+:[A-Za-z][\w.-]*"\s*:/.test(head) ? 0.98 : 0;
  },
  read(files) {
    const reading = new Reading();
    for (const file of files) for (const node of readData(file).top) readTop(node, reading);
    const { objects, opaque } = reading;
    return { dialect: 'ietf', files, objects, opaque, syntax: reading };
  },
  policy(configuration) {
    const { lists, attachments } = readingOf(configuration);
    return policyOf(lists, attachments, configuration.opaque);
  },
  write: applyEdits,
};
