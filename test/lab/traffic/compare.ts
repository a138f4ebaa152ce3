import { type Decision, decide, type Packet, type Policy } from '#core/traffic';
import type { Gateway } from './gateway.ts';
import { type Observed, observe } from './oracle.ts';

/** What came out of sending packets through the kernel and through our reading of the same ruleset. */
export interface Comparison {
  /** How often each pair of verdicts occurred, for example `through accept/accept`. */
  readonly counts: ReadonlyMap<string, number>;
  readonly differing: readonly {
    readonly packet: Packet;
    readonly ours: Decision;
    readonly real: Observed;
  }[];
}

/** A reject whose answer was itself filtered looks like a drop from outside. */
export function agrees(ours: Decision, real: Observed): boolean {
  return real.verdict === 'dropped' ? ours.verdict !== 'accept' : ours.verdict === real.verdict;
}

/** Sends the packets and compares verdict by verdict. */
export function compareWithKernel(
  gateway: Gateway,
  load: () => void,
  policy: Policy,
  packets: readonly Packet[],
  same: (ours: Decision, real: Observed, packet: Packet) => boolean = agrees,
): Comparison {
  const observed = observe(gateway, load, packets);
  const counts = new Map<string, number>();
  const differing: { packet: Packet; ours: Decision; real: Observed }[] = [];
  for (const [i, packet] of packets.entries()) {
    const ours = decide(policy, packet);
    const real = observed[i]!;
    const key = `${packet.path} ${ours.verdict}/${real.verdict}`;
    counts.set(key, (counts.get(key) ?? 0) + 1);
    if (!same(ours, real, packet)) differing.push({ packet, ours, real });
  }
  return { counts, differing };
}

/** The first disagreements with all that is needed to look into them; empty when there are none. */
export function report(ruleset: string, comparison: Comparison): string {
  if (comparison.differing.length === 0) return '';
  const some = comparison.differing
    .slice(0, 5)
    .map(({ packet, ours, real }) =>
      JSON.stringify({ packet, ours: ours.verdict, rewrites: ours.rewrites, real, rule: ours.rule?.origin }),
    );
  return `${comparison.differing.length} packets differ\n${some.join('\n')}\n${ruleset}`;
}
