/**
 * How long grafts take to plan and prove for many devices, beside Z3 on the same question in the same run.
 * npm run bench -- graft [--json] [--size small|full]. `smallest` is `small`. A run at full size keeps its figures in
 * results.json.
 */
import { writeFileSync } from 'node:fs';
import { cpus, loadavg } from 'node:os';
import { isMainThread, parentPort, Worker, workerData } from 'node:worker_threads';
import { policyOfCapture, readCapture } from '#dialects';
import { openProver } from '../traffic/solver.ts';
import { prepared, timedPlan } from './one-target.ts';

interface Share {
  readonly from: number;
  readonly step: number;
  readonly targets: number;
  readonly rules: number;
}
interface Done {
  readonly readMs: readonly number[];
  readonly ms: readonly number[];
  readonly findingsMs: readonly number[];
  /** Megabytes held after the first tenth of the targets, and at most. */
  readonly early: number;
  readonly peak: number;
  readonly verdicts: Readonly<Record<string, number>>;
  readonly problems: number;
}

/** Plans every `step`th target; keeps figures, never plans. */
function work({ from, step, targets, rules }: Share): Done {
  const graft = prepared();
  const [readMs, ms, findingsMs]: [number[], number[], number[]] = [[], [], []];
  const verdicts: Record<string, number> = {};
  let [early, peak, problems] = [0, 0, 0];
  for (let number = from; number < targets; number += step) {
    const { plan, ...took } = timedPlan(graft, number, rules);
    readMs.push(took.readMs);
    ms.push(took.ms);
    findingsMs.push(took.findingsMs);
    const verdict = plan.traffic?.verdict ?? 'none';
    verdicts[verdict] = (verdicts[verdict] ?? 0) + 1;
    problems += plan.problems.length;
    const held = process.memoryUsage().rss / 1e6;
    peak = Math.max(peak, held);
    if (number - from <= targets / 10) early = Math.max(early, held);
  }
  return { readMs, ms, findingsMs, early, peak, verdicts, problems };
}

if (!isMainThread) parentPort!.postMessage(work(workerData as Share));
else await main();

async function main(): Promise<void> {
  const json = process.argv.includes('--json');
  const size = process.argv[process.argv.indexOf('--size') + 1];
  const small = size === 'small' || size === 'smallest';
  const [targets, rules] = small ? [10, 100] : [1000, 1000];
  const large = small ? 500 : 10_000;
  const round = (value: number) => Number(value.toPrecision(3));

  const start = performance.now();
  const shares = await Promise.all([0, 1].map((from) => inWorker({ from, step: 2, targets, rules })));
  const wallSeconds = (performance.now() - start) / 1000;
  // The goal speaks of closure, collisions and traffic proof; reading what the devices hold, new findings and making up
  // the devices are no part of it.
  const longest = (kind: 'readMs' | 'ms' | 'findingsMs') =>
    Math.max(...shares.map((share) => share[kind].reduce((a, b) => a + b, 0))) / 1000;
  const each = shares.flatMap(({ ms }) => ms).sort((a, b) => a - b);
  const at = (share: number) => round(each[Math.min(each.length - 1, Math.floor(share * each.length))]!);

  // One large device of each kind: the first in a process that has planned nothing yet, as a command has not; then
  // the best of three, which is what the work itself takes when others need the machine as well.
  const graft = prepared();
  const cold = timedPlan(graft, 0, large);
  const best = (numbers: readonly number[]) => {
    const [first] = numbers.map((number) => timedPlan(graft, number, large)).sort((a, b) => a.ms - b.ms);
    return { ms: round(first!.ms), readMs: round(first!.readMs) };
  };
  const [services, zones] = [best([2, 4, 6]), best([1, 3, 5])];

  const peers = await besideProver(small ? 1 : 4, rules);
  const result = {
    taken: new Date().toISOString(),
    node: process.version,
    processor: `${cpus()[0]?.model ?? 'unknown'}, ${cpus().length} cores`,
    /** How busy the machine was besides, over the last minute. */
    load: round(loadavg()[0]!),
    targets,
    rules,
    seconds: round(longest('ms')),
    readSeconds: round(longest('readMs')),
    findingsSeconds: round(longest('findingsMs')),
    wallSeconds: round(wallSeconds),
    goalSeconds: small ? null : 20,
    eachMs: { median: at(0.5), p90: at(0.9), max: at(1) },
    memoryMb: { early: round(shares[0]!.early), peak: round(Math.max(...shares.map(({ peak }) => peak))) },
    large: {
      rules: large,
      services,
      zones,
      first: { ms: round(cold.ms), readMs: round(cold.readMs) },
      goalMs: small ? null : 300,
    },
    problems: shares.reduce((sum, { problems }) => sum + problems, 0),
    verdicts: shares.map(({ verdicts }) => verdicts),
    besideZ3: peers,
  };
  const plus = ({ ms, readMs }: { ms: number; readMs: number }) => `${ms} + ${readMs}`;
  if (json) console.log(JSON.stringify(result, null, 2));
  else
    console.log(
      [
        `${targets} devices of ${rules} rules, planned, written, read back and proved on two threads: ${result.seconds} s${small ? '' : ' (goal 20 s)'}`,
        `  reading what they hold besides: ${result.readSeconds} s; new findings: ${result.findingsSeconds} s; with making up the devices ${result.wallSeconds} s on the clock; load average ${result.load}`,
        `  each (median / p90 / largest): ${result.eachMs.median} / ${result.eachMs.p90} / ${result.eachMs.max} ms`,
        `  process: ${result.memoryMb.early} MB after a tenth of them, at most ${result.memoryMb.peak} MB`,
        `one device of ${large} rules, and reading it: ${plus(services)} ms with many services, ${plus(zones)} ms with zones and IPv6${small ? '' : ' (goal 300 ms)'}; the first in a process ${plus(result.large.first)} ms`,
        `beside Z3, asked only whether any packet is treated differently: ${peers.z3Ms.join(', ')} ms for ours ${peers.oursMs.join(', ')} ms; ${peers.disagreed} disagreements`,
      ].join('\n'),
    );
  if (!small) writeFileSync('bench/graft/results.json', `${JSON.stringify(result, null, 2)}\n`);
  if (peers.disagreed > 0) process.exitCode = 1;
}

function inWorker(share: Share): Promise<Done> {
  return new Promise((resolve, reject) => {
    const worker = new Worker(new URL(import.meta.url), {
      workerData: share,
      // Plans make much that is soon thrown away: a young generation of this size spares collecting.
      resourceLimits: { maxYoungGenerationSizeMb: 48 },
    });
    worker.on('message', resolve);
    worker.on('error', reject);
  });
}

/** The same graft, asked of a solver that knows no rule lists: does any packet fare otherwise? */
async function besideProver(count: number, rules: number) {
  const prover = openProver(60_000);
  const graft = prepared();
  const [z3Ms, oursMs]: [number[], number[]] = [[], []];
  let disagreed = 0;
  for (let number = 0; number < count; number++) {
    const { ms, plan } = timedPlan(graft, number, rules);
    const policy = (files: typeof plan.before) => policyOfCapture(readCapture(files))!.policy;
    const asked = await prover.different(policy(plan.before), policy(plan.after));
    z3Ms.push(Math.round(asked.ms));
    oursMs.push(Math.round(ms));
    const expected = plan.traffic?.verdict === 'equal' ? 'unsat' : 'sat';
    if (asked.answer !== 'unknown' && asked.answer !== expected) disagreed++;
  }
  return { z3Ms, oursMs, disagreed };
}
