import { type Box, Field } from './fields.ts';
import { HULL_FIELDS, HULL_WIDTH, type InterfaceIndex, type LoadedStage, numericHull } from './load.ts';
import { atomsMeet, type BoxContext, type View } from './view.ts';

/**
 * Finds the rules of a stage that may share a packet with one of the regions, by plain numbers: their bounds come near
 * one, or near what a view puts in the place of a field, and their interfaces meet one's.
 */
export function nearness(regions: readonly Box[], context: BoxContext) {
  const bounds = regions.map((region) =>
    Float64Array.from(HULL_FIELDS.flatMap((f) => numericHull(region[f]))),
  );
  const whole = bounds[0]!.map((_, h) => {
    const values = bounds.map((b) => b[h]!);
    return h % 2 === 0 ? Math.min(...values) : Math.max(...values);
  });
  const single = bounds.length > 1 && bounds.length <= 8 ? bounds : [];
  const meeting = (index: InterfaceIndex, field: number, names: BoxContext['inNames']): Uint8Array =>
    Uint8Array.from(index.sets, (set) =>
      regions.some((region) => atomsMeet(set, region[field], names)) ? 1 : 0,
    );
  /** Many views replace the same fields: rules near in the fields that they leave alone, by stage. */
  const known = new Map<string, Map<LoadedStage, readonly number[]>>();

  const nearAlone = (stage: LoadedStage, view: View, replaced: readonly boolean[]): number[] => {
    const { hulls, inSets, outSets } = stage;
    const open = (bound: Float64Array) =>
      bound.map((value, h) => (replaced[h >> 1]! ? numericHull(undefined)[h % 2]! : value));
    const [around, each] = [open(whole), single.map(open)];
    const inMeets = view.noIn ? undefined : meeting(inSets, Field.inInterface, context.inNames);
    const outMeets = view.noOut ? undefined : meeting(outSets, Field.outInterface, context.outNames);
    const near: number[] = [];
    for (let i = 0, at = 0; i < stage.rules.length; i++, at += HULL_WIDTH) {
      if (inMeets !== undefined && inMeets[inSets.of[i]!] === 0) continue;
      if (outMeets !== undefined && outMeets[outSets.of[i]!] === 0) continue;
      if (!boundsMeet(hulls, at, around)) continue;
      let meets = each.length === 0;
      for (let n = 0; n < each.length && !meets; n++) meets = boundsMeet(hulls, at, each[n]!);
      if (meets) near.push(i);
    }
    return near;
  };

  return (stage: LoadedStage, view: View): readonly number[] => {
    const replaced = HULL_FIELDS.map((field) => view.chosen[field] !== undefined);
    const key = `${replaced.join()} ${view.noIn} ${view.noOut}`;
    const lists = known.get(key) ?? new Map<LoadedStage, readonly number[]>();
    known.set(key, lists);
    const list = lists.get(stage) ?? nearAlone(stage, view, replaced);
    lists.set(stage, list);
    // ICMP keeps its type where a port is chosen, so that rules about either may match.
    const chosen = HULL_FIELDS.flatMap((field, h) =>
      replaced[h]! && field !== Field.service
        ? [{ at: 2 * h, hull: numericHull(view.chosen[field]!.from) }]
        : [],
    );
    if (chosen.length === 0) return list;
    return list.filter((i) =>
      chosen.every(({ at, hull: [low, high] }) => {
        const own = i * HULL_WIDTH + at;
        return stage.hulls[own]! <= high && stage.hulls[own + 1]! >= low;
      }),
    );
  };
}

function boundsMeet(hulls: Float64Array, at: number, bound: Float64Array): boolean {
  for (let h = 0; h < HULL_WIDTH; h += 2) {
    if (hulls[at + h]! > bound[h + 1]! || hulls[at + h + 1]! < bound[h]!) return false;
  }
  return true;
}
