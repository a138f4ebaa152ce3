import type { SourceFile, Span } from './source.ts';

/** What an object of a configuration is. `section` is a group of settings (system, logging, …) read as a whole. */
export type ObjectKind =
  | 'address'
  | 'address-group'
  | 'service'
  | 'service-group'
  | 'zone'
  | 'interface'
  | 'table'
  | 'chain'
  | 'rule'
  | 'map'
  | 'nat'
  | 'route'
  | 'setting'
  | 'section';

/**
 * A value in comparable normal form: two values mean the same exactly when they are deeply equal. Readers sort
 * what has no order (set elements, flags), write numbers as numbers and addresses in canonical text.
 */
export type Value = string | number | boolean | null | readonly Value[] | { readonly [field: string]: Value };

/** Identity of an object inside one configuration: kind and name joined, see {@link objectId}. */
export type ObjectId = string;

/** A mention of one object by another. */
export interface Reference {
  readonly to: ObjectId;
  /** The name as written, for example `@web_servers` or `jump zone_harbour`. */
  readonly text: string;
  readonly place: Span;
}

/**
 * Position in a list whose order matters (the rules of a chain). Objects with an order have no stable name:
 * compare such lists as sequences of values, never by id.
 */
export interface Order {
  /** The list's name, for example `inet filter forward`. */
  readonly list: string;
  /** Counts from 0. */
  readonly position: number;
}

export interface ConfigObject {
  readonly id: ObjectId;
  readonly kind: ObjectKind;
  /** The name a person knows it by; for a rule its comment, or its list and position. */
  readonly name: string;
  /** Heading under which it stands, for example `table inet filter`. */
  readonly section: string;
  readonly place: Span;
  readonly value: Value;
  /** Null where order does not matter. */
  readonly order: Order | null;
  readonly comment: string | null;
  readonly references: readonly Reference[];
}

/** A stretch of the configuration that its dialect did not understand, or understood as outside its reach. */
export interface OpaquePart {
  readonly place: Span;
  /** The text, shortened to 200 characters. */
  readonly text: string;
  /** All of the text, where it was shortened. */
  readonly whole?: string;
  /** One sentence: why it stays unread. */
  readonly why: string;
  /** The object it stands in, or null at top level. */
  readonly within: ObjectId | null;
  /** May it change which traffic passes? If so every traffic answer names it. */
  readonly mayAffectTraffic: boolean;
}

/** A capture, read. Everything in it is in memory only; the files stay the truth. */
export interface TypedConfiguration {
  /** Name of the dialect that read it. */
  readonly dialect: string;
  readonly files: readonly SourceFile[];
  readonly objects: readonly ConfigObject[];
  readonly opaque: readonly OpaquePart[];
  /** The dialect's own reading, for its `policy` and `write` only. */
  readonly syntax: unknown;
}

/** The identity of an object: `kind name`. Lists with an order append the position. */
export function objectId(kind: ObjectKind, name: string, position?: number): ObjectId {
  return position === undefined ? `${kind} ${name}` : `${kind} ${name} ${position}`;
}
