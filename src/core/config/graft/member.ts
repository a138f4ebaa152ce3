import { canonical } from '../difference/value.ts';
import type { ConfigObject } from '../typed-configuration.ts';

/** Has a list member a name of its own (a comment, an entry's name), or one made from its list and position? */
export function hasOwnName({ name, order }: ConfigObject): boolean {
  return order === null || !name.startsWith(order.list) || !/\d+$/.test(name);
}

/** What makes two members of a list the same: kind, meaning, comment and own name; never their position. */
export function memberKey(object: ConfigObject): string {
  const name = hasOwnName(object) ? object.name : '';
  return `${object.kind} ${canonical(object.value)} ${JSON.stringify(object.comment)} ${name}`;
}
