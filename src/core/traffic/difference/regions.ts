import { countUpTo } from './count-up-to.ts';
import { type Box, boxesOverlap } from './fields.ts';
import { HULL_FIELDS, HULL_WIDTH, type LoadedStage, numericHull } from './load.ts';
import { type BoxContext, mayMeet, type View } from './view.ts';

/** Regions that are compared at once, in the order of the field that tells them apart best. */
export class Regions {
  readonly #context: BoxContext;
  /** Index into `HULL_FIELDS`. */
  readonly #field: number;
  readonly #sorted: readonly Box[];
  readonly #lows: Float64Array;
  /** The highest value of any region up to this one. */
  readonly #tops: Float64Array;

  constructor(regions: readonly Box[], context: BoxContext) {
    this.#context = context;
    this.#field = narrowestField(regions);
    const field = HULL_FIELDS[this.#field]!;
    const hulls = regions.map((region) => ({ region, hull: numericHull(region[field]) }));
    hulls.sort((a, b) => a.hull[0] - b.hull[0]);
    this.#sorted = hulls.map(({ region }) => region);
    this.#lows = Float64Array.from(hulls, ({ hull }) => hull[0]);
    this.#tops = Float64Array.from(hulls, ({ hull }) => hull[1]);
    for (let n = 1; n < hulls.length; n++) this.#tops[n] = Math.max(this.#tops[n]!, this.#tops[n - 1]!);
  }

  /** May rule `i` of the stage, seen in this view, meet packets of some region, before it is made a box? */
  mayMeet(stage: LoadedStage, i: number, view: View): boolean {
    const rule = stage.rules[i]!;
    return this.#some(stage, i, view, (region) => mayMeet(rule, view, region, this.#context));
  }

  /** Does the box of rule `i` share a packet with some region? */
  overlap(stage: LoadedStage, i: number, view: View, box: Box): boolean {
    return this.#some(stage, i, view, (region) => boxesOverlap(region, box));
  }

  #some(stage: LoadedStage, i: number, view: View, test: (region: Box) => boolean): boolean {
    // What a view puts in the place of the field says nothing of the regions' own values.
    const replaced = view.chosen[HULL_FIELDS[this.#field]!] !== undefined;
    const at = i * HULL_WIDTH + 2 * this.#field;
    const low = replaced ? Number.NEGATIVE_INFINITY : stage.hulls[at]!;
    const high = replaced ? Number.POSITIVE_INFINITY : stage.hulls[at + 1]!;
    for (let n = countUpTo(this.#lows, high) - 1; n >= 0 && this.#tops[n]! >= low; n--) {
      if (test(this.#sorted[n]!)) return true;
    }
    return false;
  }
}

/** The field in which regions are narrowest, measured by the part of all their values that each spans. */
function narrowestField(regions: readonly Box[]): number {
  const widths = HULL_FIELDS.map((field) => {
    let [least, most, sum] = [Number.POSITIVE_INFINITY, 0, 0];
    for (const region of regions) {
      const [low, high] = numericHull(region[field]);
      least = Math.min(least, low);
      most = Math.max(most, high);
      sum += high - low;
    }
    return most > least ? sum / (most - least) : regions.length;
  });
  return widths.indexOf(Math.min(...widths));
}
