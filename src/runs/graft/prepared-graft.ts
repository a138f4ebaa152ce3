import { type Decide, type GraftOptions, occursIn, type Selector } from '#core/config';
import { type ChosenPart, chooseFrom, type ReadCapture } from '#dialects';

/** What a person asks for, whatever the target. */
export interface GraftWish {
  readonly take: readonly Selector[];
  readonly decide: Decide;
  readonly anchor: GraftOptions['anchor'];
  readonly matchMay: GraftOptions['matchMay'];
  /** Texts of the source that differ per device. */
  readonly placeholders: readonly string[];
}

/** A graft before any target is known: what was chosen, with all that it needs. */
export interface PreparedGraft {
  readonly wish: GraftWish;
  readonly parts: readonly ChosenPart[];
  /** Those placeholders that occur in what is carried. */
  readonly occurring: readonly string[];
}

/**
 * Chooses from the source, once for all targets.
 * @throws TuckpointError `config/nothing-selected` for a selector that picks nothing.
 */
export function prepareGraft(source: ReadCapture, wish: GraftWish): PreparedGraft {
  const parts = chooseFrom(source, wish.take);
  const found = new Set(
    parts.flatMap(({ part, closure }) => {
      const carried = closure.parts.filter(({ whole }) => whole).map(({ object }) => object);
      return [...occursIn(part.files, carried, wish.placeholders)];
    }),
  );
  return { wish, parts, occurring: wish.placeholders.filter((text) => found.has(text)) };
}
