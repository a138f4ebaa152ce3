/**
 * How long a traffic difference takes, beside Z3 on the same pairs in the same run.
 * npm run bench -- traffic [--json] [--size smallest]
 */
import { writeFileSync } from 'node:fs';
import { type Figures, measure, measureEdits, measureReview, type Ratio, type Spread } from './measure.ts';
import { type Line, plot } from './plot.ts';
import { SHAPES, type Shape } from './shapes.ts';
import { openProver } from './solver.ts';

const json = process.argv.includes('--json');
const smallest = process.argv[process.argv.indexOf('--size') + 1] === 'smallest';
const sizes = smallest ? [100] : [100, 1000, 10_000, 50_000];
const editCounts = smallest ? [1, 4] : [1, 4, 16, 64, 256];
const Z3_LIMIT_MS = 60_000;

const prover = await openProver(Z3_LIMIT_MS);
const figures: Figures[] = [];
const say = (text: string) => {
  if (!json) console.log(text);
};
const round = (value: number) => Number(value.toPrecision(3));
const three = ({ median, p90, max }: Spread) => `${round(median)} / ${round(p90)} / ${round(max)}`;
const ratio = (r: Ratio | undefined) =>
  r === undefined
    ? 'not asked'
    : `${round(r.times)}x${r.gaveUp > 0 ? ` (at least: Z3 gave up ${r.gaveUp} of ${r.asked})` : ''}`;

for (const shape of SHAPES) {
  for (const rules of sizes) {
    const trials = smallest || rules >= 50_000 ? 10 : 30;
    const proverTrials = rules > 10_000 ? 0 : smallest ? 1 : rules === 10_000 ? 2 : 4;
    const f = await measure(shape, rules, trials, prover, proverTrials);
    figures.push(f);
    say(
      [
        `${shape}, ${rules} rules (median / p90 / largest of ${f.trials}, in ms)`,
        `  load ${round(f.load)}, identical ${round(f.identical)}, edit without effect ${three(f.equalEdit)}`,
        `  one to five edits ${three(f.edits)}; rows ${three(f.rows)}; at most ten changes in ${round(100 * f.fewChanges)} %`,
        `  out of budget ${f.unresolved}; process ${round(f.peakMegabytes)} MB`,
        `  beside Z3: whole question ${ratio(f.z3Whole)}, only the rules near the change ${ratio(f.z3Near)}`,
      ].join('\n'),
    );
  }
}
prover.close();

const growth = Object.fromEntries(
  SHAPES.map((shape) => [
    shape,
    editCounts.map((edits) => [edits, measureEdits(shape, smallest ? 100 : 10_000, edits, 5)] as const),
  ]),
) as Record<Shape, (readonly [number, number])[]>;
const review = Object.fromEntries(
  SHAPES.map((shape) => [shape, measureReview(shape, smallest ? 100 : 1000)]),
);
for (const shape of SHAPES)
  say(
    `${shape}: edits -> ms ${growth[shape].map(([n, ms]) => `${n}: ${round(ms)}`).join(', ')}; review ${round(review[shape]!)} ms`,
  );

const disagreed = figures.reduce(
  (sum, f) => sum + (f.z3Whole?.disagreed ?? 0) + (f.z3Near?.disagreed ?? 0),
  0,
);
if (disagreed > 0) {
  console.error(`Z3 and the engine disagreed on ${disagreed} questions.`);
  process.exitCode = 1;
}
const result = {
  node: process.version,
  z3LimitMs: Z3_LIMIT_MS,
  figures,
  growthWithEdits: growth,
  reviewMs: review,
  disagreed,
};
if (json) console.log(JSON.stringify(result, null, 2));

if (!smallest) {
  const looks: Record<Shape, readonly [colour: string, dashes: string]> = {
    short: ['#0072B2', ''],
    wide: ['#D55E00', '8 4'],
    services: ['#009E73', '2 3'],
    enterprise: ['#CC79A7', '10 3 2 3'],
  };
  const lines = (pointsOf: (shape: Shape) => Line['points']): Line[] =>
    SHAPES.map((shape) => ({
      name: shape,
      colour: looks[shape][0],
      dashes: looks[shape][1],
      points: pointsOf(shape),
    }));
  const byRules = lines((shape) =>
    figures.filter((f) => f.shape === shape).map((f) => [f.rules, f.edits.median]),
  );
  writeFileSync('bench/traffic/results.json', `${JSON.stringify(result, null, 2)}\n`);
  writeFileSync(
    'bench/traffic/growth-rules.svg',
    plot('Traffic difference of one to five edits', 'rules', 'median ms', byRules),
  );
  writeFileSync(
    'bench/traffic/growth-edits.svg',
    plot(
      'Traffic difference at 10,000 rules',
      'edits',
      'median ms',
      lines((shape) => growth[shape]),
    ),
  );
}
