import type { SourceFile } from '#core/config';
import { dialectNamed, type readCapture } from '#dialects';
import { dialectFromMapping } from '#dialects/mapping';

/**
 * How a person wants configurations read, as plain data: it is journaled with a run, so that the run's own checks, a
 * resumed run and an undo read as the plan did.
 */
export interface Languages {
  /** Mapping files; each teaches a language besides the built-in ones. */
  readonly mappings: readonly SourceFile[];
  /** Name of the one language that every file is read in. */
  readonly only?: string;
}

/** The same, ready to read by. Empty: the built-in languages. */
export type Reading = NonNullable<Parameters<typeof readCapture>[1]>;

/**
 * Every configuration of a run is read by what this gives.
 * @throws TuckpointError `dialects/mapping` with file and line, `dialects/unknown`.
 */
export function readingIn(languages: Languages | undefined): Reading {
  if (languages === undefined) return {};
  const taught = languages.mappings.map(dialectFromMapping);
  const { only } = languages;
  if (only === undefined) return { taught };
  return { taught, only: taught.find(({ name }) => name === only) ?? dialectNamed(only) };
}
