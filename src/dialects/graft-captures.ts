import {
  type Choice,
  type Closure,
  choose,
  closureOf,
  type FillIn,
  fillEdits,
  type GraftOptions,
  type GraftPlan,
  mismatchOf,
  planGraft,
  type Selector,
  type SourceFile,
  type Structure,
  structureOf,
  type TypedConfiguration,
} from '#core/config';
import { codeOf, TuckpointError } from '#core/errors';
import { graftWriterFor } from './graft-writer.ts';
import type { CapturePart, ReadCapture } from './read-capture.ts';

/** What was chosen from one part of a capture, with all that it needs. It serves for every target. */
export interface ChosenPart {
  readonly part: CapturePart;
  readonly structure: Structure;
  readonly choice: Choice;
  readonly closure: Closure;
}

/** A graft of one part onto one target's part of the same language. */
export interface PartGraft {
  readonly plan: GraftPlan;
  /** The target's part after the graft; null while the plan has problems that a person must settle. */
  readonly after: {
    readonly files: readonly SourceFile[];
    readonly configuration: TypedConfiguration;
  } | null;
}

/**
 * Picks objects from every part of a capture; parts of which nothing is picked are left out.
 * @throws TuckpointError `config/nothing-selected` for a selector that picks nothing in any part.
 */
export function chooseFrom(source: ReadCapture, selectors: readonly Selector[]): ChosenPart[] {
  const structures = source.parts.map((part) => ({ part, structure: structureOf(part.configuration) }));
  const misses = new Map<Selector, TuckpointError>();
  const found = new Set<Selector>();
  const chosen = structures.flatMap(({ part, structure }) => {
    const own = selectors.filter((selector) => {
      const miss = missOf(structure, selector);
      if (miss === null) found.add(selector);
      else misses.set(selector, nearer(misses.get(selector), miss));
      return miss === null;
    });
    if (own.length === 0) return [];
    const choice = choose(structure, own);
    return [{ part, structure, choice, closure: closureOf(structure, choice.objects) }];
  });
  const missed = selectors.find((selector) => !found.has(selector));
  if (missed === undefined) return chosen;
  throw (
    misses.get(missed) ??
    new TuckpointError('config/nothing-selected', 'The source holds nothing that a dialect reads.', {
      advice: 'Name its language with --dialect, or teach it with --mapping.',
    })
  );
}

/** Of two parts in which a selector picks nothing, what is said of the one with near names; else of both. */
function nearer(one: TuckpointError | undefined, other: TuckpointError): TuckpointError {
  if (one === undefined || /^Near/.test(other.advice ?? '')) return other;
  if (/^Near/.test(one.advice ?? '') || one.advice === other.advice) return one;
  const advice = [one.advice, other.advice].filter((text) => text !== undefined).join(' ');
  return new TuckpointError(one.code, one.message, { ...(one.place && { place: one.place }), advice });
}

function missOf(structure: Structure, selector: Selector): TuckpointError | null {
  try {
    choose(structure, [selector]);
    return null;
  } catch (error) {
    if (error instanceof TuckpointError && codeOf(error) === 'config/nothing-selected') return error;
    throw error;
  }
}

/**
 * The same choice with values that differ per device put into its texts.
 * @throws TuckpointError `config/fill-in` when the filled text no longer reads as the same objects.
 */
export function withFillIns(chosen: ChosenPart, fillIns: readonly FillIn[]): ChosenPart {
  const { part, structure, choice, closure } = chosen;
  const { dialect } = part;
  const carried = closure.parts.filter(({ whole }) => whole).map(({ object }) => object);
  const edits = fillEdits(part.files, carried, fillIns);
  if (edits.length === 0) return chosen;
  const files = dialect.write(part.files, edits);
  const configuration = dialect.read(files, part.configuration);
  const { objects } = structure.configuration;
  const same =
    configuration.objects.length === objects.length &&
    configuration.objects.every(({ kind }, i) => kind === objects[i]!.kind);
  if (!same) {
    throw new TuckpointError('config/fill-in', 'With the fill-ins in place the source reads otherwise.', {
      place: { file: part.files[0]!.name },
      advice: 'Check that each value can stand where the text it replaces stands.',
    });
  }
  const places = new Map(objects.map((object, i) => [object, i]));
  const filled = structureOf(configuration);
  const picked = choice.objects.map((object) => configuration.objects[places.get(object)!]!);
  return {
    part: { dialect, files, configuration },
    structure: filled,
    choice: { ...choice, objects: picked },
    closure: closureOf(filled, picked),
  };
}

/**
 * Plans the graft onto the target's part of the same language, writes it and reads the result back. Nothing leaves
 * this function that does not read as predicted.
 * @throws TuckpointError `dialects/cannot-write`, `dialects/not-as-predicted`.
 */
export function graftPart(
  { part: { dialect }, structure, closure }: ChosenPart,
  onto: CapturePart,
  options: GraftOptions,
): PartGraft {
  const plan = planGraft(structure, closure, structureOf(onto.configuration), options);
  if (plan.problems.length > 0) return { plan, after: null };
  if (plan.job.steps.length === 0) return { plan, after: onto };
  const files = dialect.write(onto.files, graftWriterFor(dialect).write(plan.job));
  const configuration = dialect.read(files, onto.configuration);
  const mismatch = mismatchOf(plan.prediction, configuration);
  if (mismatch !== null) {
    throw new TuckpointError(
      'dialects/not-as-predicted',
      `The written graft does not read as planned: ${mismatch}`,
      {
        advice: 'Nothing was sent. Carry these parts by hand, or take fewer at once.',
      },
    );
  }
  return { plan, after: { files, configuration } };
}
