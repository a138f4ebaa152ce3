import {
  type ConfigObject,
  type ObjectId,
  type ObjectKind,
  type OpaquePart,
  type Order,
  objectId,
  type Reference,
  type Value,
} from '#core/config';
import { excerpt } from '#dialects/source';
import type { Stand } from '#dialects/tree';
import { type DataNode, placeOf } from './data.ts';
import type { AccessList, Attachment } from './policy.ts';

/** What is known of an object before it is put down. */
export interface Draft {
  readonly kind: ObjectKind;
  readonly name: string;
  readonly section: string;
  readonly value: Value;
  readonly order?: Order;
  readonly comment?: string | null;
  readonly references?: readonly (readonly [ObjectKind, string, DataNode])[];
}

/** Collects what the readers of the single modules find. */
export class Reading {
  readonly objects: ConfigObject[] = [];
  readonly opaque: OpaquePart[] = [];
  readonly stands = new Map<ConfigObject, Stand>();
  readonly lists: AccessList[] = [];
  readonly attachments: Attachment[] = [];

  add(node: DataNode, draft: Draft): ConfigObject {
    const references = (draft.references ?? []).map(
      ([kind, name, at]): Reference => ({ to: objectId(kind, name), text: name, place: placeOf(at) }),
    );
    const object: ConfigObject = {
      id:
        draft.order === undefined
          ? objectId(draft.kind, draft.name)
          : objectId(draft.kind, draft.order.list, draft.order.position),
      kind: draft.kind,
      name: draft.name,
      section: draft.section,
      place: placeOf(node),
      value: draft.value,
      order: draft.order ?? null,
      comment: draft.comment ?? null,
      references,
    };
    this.objects.push(object);
    this.stands.set(object, { tree: node.tree, node: node.node });
    return object;
  }

  /** Leaves the children of a node that are none of the `known` names: parts of modules that are not read. */
  leaveOthers(node: DataNode | undefined, known: readonly string[], within: ObjectId | null): void {
    for (const part of node?.children ?? []) {
      if (!known.includes(part.name))
        this.leave(part, `The part ${part.name} of ${part.module || 'no module'} is not read.`, within, true);
    }
  }

  leave(node: DataNode, why: string, within: ObjectId | null, mayAffectTraffic: boolean): void {
    const text = node.tree.source.text.slice(node.node.start, node.node.end);
    this.opaque.push({ place: placeOf(node), ...excerpt(text), why, within, mayAffectTraffic });
  }
}
