import {
  type Address,
  type AddressSet,
  formatAddress,
  formatAddresses,
  hasAddress,
  hasNumber,
  intersectAddresses,
  intersectNumbers,
  type NumberSet,
} from '#core/address';
import { hasPorts, icmpProtocol, type Packet } from './packet.ts';
import type {
  Condition,
  InterfaceSet,
  Match,
  Pipeline,
  Policy,
  Rewrite,
  Rule,
  Stage,
  Verdict,
} from './policy.ts';
import { choiceCondition, numbersText, replacementOf, rewriteText } from './translation.ts';

/** One rule that matched on a packet's way. */
export interface TraceStep {
  readonly stage: string;
  readonly kind: Stage['kind'];
  readonly rule: Rule;
  /** Counts from 0 within the stage. */
  readonly index: number;
}

/** What a policy does with one packet, and why. */
export interface Decision {
  readonly verdict: Verdict;
  /** Translations that the packet leaves with, in order; empty for a packet that is not accepted. */
  readonly rewrites: readonly Rewrite[];
  /** The rule that decides; undefined when the packet ran through without any rule accepting it. */
  readonly rule: Rule | undefined;
  /** Every rule that matched, in order. */
  readonly trace: readonly TraceStep[];
  /** Conditions that were asked and not given in the packet, and so taken as not holding. */
  readonly assumed: readonly string[];
}

/** A packet as later stages see it. A chosen value is a set until a rule asks about it. */
interface Seen {
  packet: Packet;
  outInterface: string;
  source: Address | ChosenAddress;
  destination: Address | ChosenAddress;
  sourcePort: number | ChosenPort;
  destinationPort: number | ChosenPort;
  assumed: Set<string>;
}

interface ChosenAddress {
  readonly from: AddressSet;
  readonly by: string;
}

interface ChosenPort {
  readonly from: NumberSet;
  readonly by: string;
}

/**
 * Follows one packet through a policy, rule by rule, with nothing clever: this is what the traffic difference
 * is measured against.
 */
export function decide(policy: Policy, packet: Packet): Decision {
  const seen: Seen = {
    packet,
    outInterface: packet.outInterface,
    source: packet.source,
    destination: packet.destination,
    sourcePort: packet.sourcePort ?? 0,
    destinationPort: packet.destinationPort ?? 0,
    assumed: new Set(),
  };
  const trace: TraceStep[] = [];
  const rewrites: Rewrite[] = [];
  let stages = stagesOf(policy, packet.path, packet.family);
  for (let s = 0; s < stages.length; s++) {
    const stage = stages[s]!;
    const final = runStage(stage, seen, trace);
    if (final === undefined) continue;
    if ('verdict' in final) {
      return {
        verdict: final.verdict,
        rewrites: [],
        rule: trace.at(-1)!.rule,
        trace,
        assumed: [...seen.assumed],
      };
    }
    rewrites.push(final.rewrite);
    translate(seen, final.rewrite);
    if (final.rewrite.kind === 'redirect' && packet.path === 'through') {
      stages = stagesOf(policy, 'to', packet.family);
      s = stages.findIndex((other) => other.name === stage.name);
      if (s < 0) break;
    }
  }
  return { verdict: 'accept', rewrites, rule: acceptingRule(trace), trace, assumed: [...seen.assumed] };
}

/** The stages of one path and family; none when the policy has no such pipeline. */
export function stagesOf(
  policy: Policy,
  path: Pipeline['path'],
  family: Pipeline['family'],
): readonly Stage[] {
  return policy.pipelines.find((p) => p.path === path && p.family === family)?.stages ?? [];
}

/** Runs one stage. Returns the drop or reject that ends the packet, the rewrite that applies, or undefined to go on. */
function runStage(
  stage: Stage,
  seen: Seen,
  trace: TraceStep[],
): { verdict: 'drop' | 'reject' } | { rewrite: Rewrite } | undefined {
  let index = 0;
  while (index < stage.rules.length) {
    const rule = stage.rules[index]!;
    if (!matches(rule.match, seen)) {
      index++;
      continue;
    }
    trace.push({ stage: stage.name, kind: stage.kind, rule, index });
    const { action } = rule;
    if ('skip' in action) index = action.skip;
    else if ('rewrite' in action) return { rewrite: action.rewrite };
    else if (action.verdict === 'accept') return undefined;
    else return { verdict: action.verdict };
  }
  return undefined;
}

/**
 * The accept to name as the reason: the last that has a limit, or else the last one. An accept among translations lets
 * nothing pass; it only leaves the packet as it is.
 */
function acceptingRule(trace: readonly TraceStep[]): Rule | undefined {
  const accepts = trace
    .filter(({ kind }) => kind === 'filter')
    .map((step) => step.rule)
    .filter((rule) => 'verdict' in rule.action && rule.action.verdict === 'accept');
  return accepts.findLast((rule) => Object.keys(rule.match).length > 0) ?? accepts.at(-1);
}

function matches(match: Match, seen: Seen): boolean {
  const { packet } = seen;
  const ports = hasPorts(packet.protocol);
  const icmp = packet.protocol === icmpProtocol(packet.family);
  return (
    inInterfaces(match.inInterface, packet.inInterface) &&
    inInterfaces(match.outInterface, seen.outInterface) &&
    (match.protocol === undefined || hasNumber(match.protocol, packet.protocol)) &&
    (match.states?.includes(packet.state) ?? true) &&
    (match.sourcePort === undefined ||
      (ports && inPorts(match.sourcePort, seen.sourcePort, 'source port', seen))) &&
    (match.destinationPort === undefined ||
      (ports && inPorts(match.destinationPort, seen.destinationPort, 'destination port', seen))) &&
    (match.icmp === undefined ||
      (icmp && hasNumber(match.icmp, (packet.icmpType ?? 0) * 256 + (packet.icmpCode ?? 0)))) &&
    inAddresses(match.source, seen.source, 'source', seen) &&
    inAddresses(match.destination, seen.destination, 'destination', seen) &&
    (match.conditions ?? []).every((condition) => asked(condition, seen))
  );
}

/** Whether a name is in a set of interface names. */
export function inInterfaces(set: InterfaceSet | undefined, name: string): boolean {
  if (set === undefined) return true;
  const named = set.names.some((n) => (n.endsWith('*') ? name.startsWith(n.slice(0, -1)) : n === name));
  return named !== (set.except ?? false);
}

function inAddresses(
  set: AddressSet | undefined,
  value: Address | ChosenAddress,
  field: string,
  seen: Seen,
): boolean {
  if (set === undefined) return true;
  if (!('from' in value)) return hasAddress(set, value);
  const both = intersectAddresses(set, value.from);
  if (both.ranges.length === 0) return false;
  const wanted = formatAddresses(both).join(',');
  if (wanted === formatAddresses(value.from).join(',')) return true;
  return asked(choiceCondition(value.by, field, wanted), seen);
}

function inPorts(set: NumberSet, value: number | ChosenPort, field: string, seen: Seen): boolean {
  if (typeof value === 'number') return hasNumber(set, value);
  const both = intersectNumbers(set, value.from);
  if (both.length === 0) return false;
  const wanted = numbersText(both);
  return wanted === numbersText(value.from) || asked(choiceCondition(value.by, field, wanted), seen);
}

function asked(condition: Condition, seen: Seen): boolean {
  const holds = seen.packet.conditions?.includes(condition.name) ?? false;
  if (!holds) seen.assumed.add(condition.name);
  return holds === condition.holds;
}

function translate(seen: Seen, rewrite: Rewrite): void {
  const { side, addresses, ports } = replacementOf(rewrite, seen.packet.family);
  const by = rewriteText(rewrite);
  if (addresses !== undefined) {
    const [first] = addresses.ranges;
    const single = addresses.ranges.length === 1 && formatAddress(first!.low) === formatAddress(first!.high);
    seen[side] = single ? first!.low : { from: addresses, by };
  }
  if (ports !== undefined) {
    const port = side === 'source' ? 'sourcePort' : 'destinationPort';
    seen[port] = ports.length === 2 && ports[0] === ports[1] ? ports[0]! : { from: ports, by };
  }
  if (rewrite.kind === 'redirect') seen.outInterface = '';
}
