import { decide } from '../decide.ts';
import type { Packet } from '../packet.ts';
import type { Policy } from '../policy.ts';
import { rewriteText } from '../translation.ts';
import { type ComparedCluster, rankOpened } from './compare.ts';
import type { OpenComparison } from './comparison.ts';
import { equalByDiagram } from './fallback.ts';
import { packetAt } from './witness.ts';

/** What is known of a cluster whose sweep stopped: proved equal, one packet that differs, or nothing. */
export type StoppedAnswer = 'equal' | 'undecided' | Packet;

/** Answers yes or no for a cluster whose rows would cost too much. A packet is only returned once it has been followed. */
export function answerStopped(
  comparison: OpenComparison,
  cluster: ComparedCluster,
  before: Policy,
  after: Policy,
  nodes: number,
): StoppedAnswer {
  const { result, ranked } = cluster;
  const differs = (packet: Packet) => treatment(before, packet) !== treatment(after, packet);
  if ('stopped' in result && result.witness !== undefined) {
    const packet = packetAt(comparison, ranked, result.witness);
    if (differs(packet)) return packet;
  }
  const opened = rankOpened(comparison, cluster);
  const found = equalByDiagram(opened, nodes);
  if (found.answer !== 'different') return found.answer;
  const packet = packetAt(comparison, opened, found.witness);
  return differs(packet) ? packet : 'undecided';
}

function treatment(policy: Policy, packet: Packet): string {
  const { verdict, rewrites } = decide(policy, packet);
  return [verdict, ...rewrites.map(rewriteText)].join(' ');
}
