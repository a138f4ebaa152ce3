import {
  type ConfigObject,
  type ObjectId,
  type ObjectKind,
  type OpaquePart,
  objectId,
  type Reference,
  type SourceFile,
  type Span,
  type Value,
} from '#core/config';
import { shorten } from '#dialects/source';

/** Collects objects and unread parts of Linux interface files. */
export class Collection {
  readonly objects: ConfigObject[] = [];
  readonly opaque: OpaquePart[] = [];
  readonly #texts: ReadonlyMap<string, string>;

  constructor(files: readonly SourceFile[]) {
    this.#texts = new Map(files.map(({ name, text }) => [name, text]));
  }

  add(
    kind: ObjectKind,
    name: string,
    section: string,
    place: Span,
    value: Value,
    references: readonly Reference[] = [],
    comment: string | null = null,
  ): ConfigObject {
    const object: ConfigObject = {
      id: objectId(kind, name),
      kind,
      name,
      section,
      place,
      value,
      order: null,
      comment,
      references,
    };
    this.objects.push(object);
    return object;
  }

  leave(place: Span, why: string, within: ObjectId | null, mayAffectTraffic = true): void {
    const text = shorten(this.#texts.get(place.file)?.slice(place.start, place.end) ?? '');
    this.opaque.push({ place, text, why, within, mayAffectTraffic });
  }

  /** A route, with a reference to the interface it leaves by. */
  addRoute(route: Route, place: Span): void {
    const { destination, gateway, interface: out, ...more } = route;
    const name = `${destination}${gateway === null ? '' : ` via ${gateway}`}${out === null ? '' : ` dev ${out}`}`;
    const references = out === null ? [] : [{ to: objectId('interface', out), text: out, place }];
    this.add('route', name, 'routes', place, { destination, gateway, interface: out, ...more }, references);
  }
}

export interface Route {
  readonly destination: string;
  readonly gateway: string | null;
  readonly interface: string | null;
  readonly metric?: number;
  readonly table?: string;
  /** Further settings as written. */
  readonly more?: { readonly [name: string]: Value };
}
