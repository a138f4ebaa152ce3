/**
 * How long a traffic difference takes, beside Z3 on the same pairs in the same run.
 * npm run bench -- traffic [--json] [--size smallest] [--shape NAME]…
 * A run at full size keeps its figures in results.json; a run of some shapes replaces theirs.
 */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import { judge, type ShapeResult } from './goals.ts';
import {
  besideProver,
  type Figures,
  measure,
  measureEdits,
  measurePairs,
  measureReview,
  type Ratio,
  type Spread,
} from './measure.ts';
import { type Line, plot } from './plot.ts';
import { measureMemory, measureReading, useMemory, useReading } from './reading.ts';
import { SHAPES, type Shape } from './shapes.ts';
import { openProver, type Prover } from './solver.ts';

const KEPT = 'bench/traffic/results.json';
const Z3_LIMIT_MS = 20_000;

/** Colours told apart by all eyes (Okabe and Ito), and dashes besides. */
const LOOKS: Record<Shape, { readonly colour: string; readonly dashes: string }> = {
  short: { colour: '#0072B2', dashes: '' },
  wide: { colour: '#D55E00', dashes: '8 4' },
  services: { colour: '#009E73', dashes: '2 3' },
  enterprise: { colour: '#CC79A7', dashes: '10 3 2 3' },
};

const args = process.argv.slice(2);
const json = args.includes('--json');
const smallest = args[args.indexOf('--size') + 1] === 'smallest';
const named = args.flatMap((arg, i) => (args[i - 1] === '--shape' ? [arg as Shape] : []));
const say = (text: string) => {
  if (!json) console.log(text);
};

if (args[0] === '--memory') useMemory(args[1] as Shape, Number(args[2]));
else if (args[0] === '--reading') useReading(args[1] as Shape, Number(args[2]));
else await run();

async function run(): Promise<void> {
  const prover = openProver(Z3_LIMIT_MS);
  const results: ShapeResult[] = [];
  for (const shape of named.length > 0 ? named : SHAPES) results.push(await measureShape(shape, prover));
  const disagreed = results
    .flatMap((r) => r.besideProver)
    .reduce((sum, { whole, near }) => sum + whole.disagreed + near.disagreed, 0);
  if (disagreed > 0) {
    console.error(`Z3 and the engine disagreed on ${disagreed} questions.`);
    process.exitCode = 1;
  }
  if (json) console.log(JSON.stringify(documentOf(results), null, 2));
  if (!smallest) keep(results);
}

async function measureShape(shape: Shape, prover: Prover): Promise<ShapeResult> {
  const most = smallest ? 100 : 10_000;
  const figures: Figures[] = [];
  const beside: ShapeResult['besideProver'][number][] = [];
  for (const rules of smallest ? [100] : [100, 1000, 10_000, 50_000]) {
    const f = measure(shape, rules, smallest || rules > most ? 5 : rules === most ? 100 : 30);
    figures.push(f);
    say(
      [
        `${shape}, ${rules} rules (median / 90 % / 99 % / largest of ${f.trials}, in ms)`,
        `  load ${round(f.load)}, identical ${round(f.firstIdentical)} the first time and ${round(f.identical)} then, edit without effect ${four(f.equalEdit)}`,
        `  one to five edits ${four(f.edits)}; rows ${four(f.rows)}; out of budget ${f.unresolved}`,
      ].join('\n'),
    );
    // Where the goals stand: at other sizes Z3 would take most of the time.
    if (rules !== most) continue;
    const b = await besideProver(shape, rules, smallest ? 1 : 2, prover);
    beside.push(b);
    say(`  beside Z3: whole question ${ratio(b.whole)}; only the rules near the change ${ratio(b.near)}`);
  }
  const result: ShapeResult = {
    shape,
    figures,
    besideProver: beside,
    growthWithEdits: (smallest ? [1, 4] : [1, 4, 16, 64, 256]).map((edits) => [
      edits,
      measureEdits(shape, most, edits, 5),
    ]),
    pairFindings: measurePairs(shape, most),
    review: measureReview(shape, Math.min(most, 1000)),
    reading: measureReading(shape, most),
    megabytes: measureMemory(shape, most),
    machineLoad: os.loadavg()[0] ?? 0,
  };
  say(
    `  edits -> ms ${result.growthWithEdits.map(([n, ms]) => `${n}: ${round(ms)}`).join(', ')}; all findings of 1,000 rules ${round(result.review)} ms`,
  );
  say(`${shape}, ${most} rules, beside the goals (load average of the machine ${round(result.machineLoad)})`);
  for (const { goal, value, limit, met } of judge(result))
    say(`  ${met ? 'met    ' : 'NOT MET'}  ${goal} ${limit}: ${round(value)}`);
  return result;
}

function round(value: number): number {
  return Number(value.toPrecision(3));
}

function four({ median, p90, p99, max }: Spread): string {
  return [median, p90, p99, max].map(round).join(' / ');
}

function ratio({ median, least, asked, gaveUp }: Ratio): string {
  return `${round(median)}x, least ${round(least)}x${gaveUp > 0 ? ` (at least: Z3 gave up ${gaveUp} of ${asked})` : ''}`;
}

function documentOf(results: readonly ShapeResult[]) {
  return {
    node: process.version,
    processor: os.cpus()[0]?.model ?? 'unknown',
    z3LimitMs: Z3_LIMIT_MS,
    shapes: results.map((result) => ({ ...result, goals: judge(result) })),
  };
}

/** Puts the figures beside those kept of other shapes, and draws the growth anew. */
function keep(results: readonly ShapeResult[]): void {
  const kept = existsSync(KEPT)
    ? (JSON.parse(readFileSync(KEPT, 'utf8')) as { shapes: ShapeResult[] }).shapes
    : [];
  const all = SHAPES.flatMap((shape) => [...results, ...kept].find((r) => r.shape === shape) ?? []);
  writeFileSync(KEPT, `${JSON.stringify(documentOf(all), null, 2)}\n`);
  const draw = (file: string, title: string, x: string, pointsOf: (r: ShapeResult) => Line['points']) =>
    writeFileSync(
      `bench/traffic/${file}`,
      plot(
        title,
        x,
        'median ms',
        all.map((r) => ({ name: r.shape, ...LOOKS[r.shape], points: pointsOf(r) })),
      ),
    );
  draw('growth-rules.svg', 'Traffic difference of one to five edits', 'rules', (r) =>
    r.figures.map((f) => [f.rules, f.edits.median]),
  );
  draw('growth-edits.svg', 'Traffic difference at 10,000 rules', 'edits', (r) => r.growthWithEdits);
}
