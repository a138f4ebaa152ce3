import type { Packet } from '../packet.ts';
import type { OpenComparison } from './comparison.ts';
import { exampleOf, packetSetOf, splitServices } from './decode.ts';
import type { Ranked } from './ranks.ts';

/** A packet at the given ranks, one per field; undefined for any. */
export function packetAt(
  comparison: OpenComparison,
  ranked: Ranked,
  ranks: readonly (number | undefined)[],
): Packet {
  const { path, family } = comparison.slots;
  const box = ranks.map((rank, field) =>
    ranked.valuesOf(field, rank === undefined ? undefined : Int32Array.of(rank, rank)),
  );
  const part = splitServices(box, family)[0] ?? box;
  return exampleOf(part, packetSetOf(part, family, comparison), path, family, comparison);
}
