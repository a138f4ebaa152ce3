import { pairsOf } from '#core/address';
import type { RowOutcome, TrafficChange } from '../row.ts';
import type { Names } from './decode.ts';
import { type Box, Field, type FieldSet, isAddressSet, STATES } from './fields.ts';

/** Logarithm to base 2 of the number of distinct packets in a box, interfaces counted as the names in use. */
export function sizeOf(box: Box, names: Names): number {
  let bits = 0;
  for (let field = 0; field < Field.firstCondition; field++) {
    bits += Math.log2(countOf(box[field]) ?? wholeField(field, box, names));
  }
  for (let field = Field.firstCondition; field < box.length; field++) if (box[field] !== undefined) bits -= 1;
  return bits;
}

function countOf(set: FieldSet | undefined): number | undefined {
  if (set === undefined) return undefined;
  if (!isAddressSet(set)) return pairsOf(set).reduce((sum, [low, high]) => sum + high - low + 1, 0);
  const value = (words: readonly number[]) => words.reduce((sum, word) => sum * 2 ** 32 + word, 0);
  return set.ranges.reduce((sum, { low, high }) => sum + value(high) - value(low) + 1, 0);
}

function wholeField(field: number, box: Box, names: Names): number {
  switch (field) {
    case Field.inInterface:
      return names.inNames.atoms.length;
    case Field.outInterface:
      return names.outNames.atoms.length;
    case Field.source:
    case Field.destination: {
      const other = box[field === Field.source ? Field.destination : Field.source];
      return other !== undefined && isAddressSet(other) ? 2 ** 128 : 2 ** 32;
    }
    case Field.protocol:
      return 256;
    case Field.state:
      return STATES.length;
    default:
      return 65536;
  }
}

/** How much a change matters: what opens first, then what closes, then other treatment of the same verdict. */
function weightOf(before: RowOutcome, after: RowOutcome): number {
  if (before.verdict === after.verdict) return 2;
  if (after.verdict === 'accept') return 0;
  return before.verdict === 'accept' ? 1 : 3;
}

/** Order of a report: opened, closed, rewritten, refused in another way; the larger first. */
export function byConsequence(a: TrafficChange, b: TrafficChange): number {
  return weightOf(a.before, a.after) - weightOf(b.before, b.after) || b.size - a.size;
}
