import type { ConfigObject } from '../typed-configuration.ts';
import { canonical, sameValue } from './value.ts';

/** Has a list member a name of its own (a comment, an entry's name), or one made from its list and position? */
export function hasOwnName({ name, order }: ConfigObject): boolean {
  return order === null || !name.startsWith(order.list) || !/\d+$/.test(name);
}

/** What makes two members of a list the same: kind, meaning, comment and own name; never their position. */
export function memberKey(object: ConfigObject): string {
  return `${object.kind} ${canonical(object.value)} ${JSON.stringify(object.comment)} ${ownName(object)}`;
}

/** Do two members of lists have the same key? */
export function sameMember(a: ConfigObject, b: ConfigObject): boolean {
  return (
    a.kind === b.kind &&
    a.comment === b.comment &&
    sameValue(a.value, b.value) &&
    ((a.name === b.name && a.order?.list === b.order?.list) || ownName(a) === ownName(b))
  );
}

const ownName = (object: ConfigObject): string => (hasOwnName(object) ? object.name : '');
