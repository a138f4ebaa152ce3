import { textOf } from '../source.ts';
import type { OpaquePart, TypedConfiguration } from '../typed-configuration.ts';

/** A stretch of text that no dialect understood, and what became of it. Both sides: its text changed. */
export interface OpaqueChange {
  readonly change: 'added' | 'removed' | 'changed';
  readonly before: OpaquePart | null;
  readonly after: OpaquePart | null;
}

/** Compares the parts that were not understood, by their whole text within their file and object. */
export function compareOpaque(before: TypedConfiguration, after: TypedConfiguration): OpaqueChange[] {
  const [gone, come] = [leftOver(before, after), leftOver(after, before)];
  const homes = new Map<string, OpaquePart[]>();
  for (const part of come) {
    const known = homes.get(homeOf(part));
    if (known === undefined) homes.set(homeOf(part), [part]);
    else known.push(part);
  }
  const changes: OpaqueChange[] = gone.map((part) => {
    const other = homes.get(homeOf(part))?.shift() ?? null;
    return { change: other === null ? 'removed' : 'changed', before: part, after: other };
  });
  for (const part of come) {
    if (homes.get(homeOf(part))!.includes(part)) changes.push({ change: 'added', before: null, after: part });
  }
  return changes;
}

function homeOf(part: OpaquePart): string {
  return JSON.stringify([part.place.file, part.within]);
}

function leftOver(from: TypedConfiguration, others: TypedConfiguration): OpaquePart[] {
  const counts = new Map<string, number>();
  for (const key of keysOf(others)) counts.set(key, (counts.get(key) ?? 0) + 1);
  const keys = keysOf(from);
  return from.opaque.filter((_, index) => {
    const left = counts.get(keys[index]!) ?? 0;
    if (left > 0) counts.set(keys[index]!, left - 1);
    return left === 0;
  });
}

function keysOf(configuration: TypedConfiguration): string[] {
  return configuration.opaque.map((part) => {
    const text = textOf(configuration.files, part.place) || part.text;
    return `${homeOf(part)} ${text.replace(/\s+/g, ' ').trim()}`;
  });
}
