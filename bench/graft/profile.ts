import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { readCapture, policyOfCapture, chooseFrom, graftPart, compareCaptures, trafficBetween } from '#dialects';
import { newFindings } from '#core/traffic';
import { planTarget, prepareGraft } from '#runs';
import { sourceFiles, targetFiles, SELECTORS } from './estate.ts';
const n = Number(process.argv[2]);
const wish = { take: SELECTORS.map(readSelector), decide: decisionRule([readDecision('take')]), anchor: readAnchor('first'), matchMay: () => false, placeholders: [] };
const t = <T>(name: string, f: () => T): T => { const a = performance.now(); const r = f(); console.log(name, (performance.now() - a).toFixed(1)); return r; };
const source = readCapture(sourceFiles());
const graft = prepareGraft(source, wish);
for (let i = 0; i < 6; i++) {
  console.log('--', i);
  const files = t('gen', () => targetFiles(i, n));
  const before = t('read', () => readCapture(files));
  const onto = before.parts[0]!;
  const g = t('graftPart', () => graftPart(graft.parts[0]!, onto, wish));
  const after = { ...before, parts: [{ ...onto, ...g.after! }] };
  const p1 = t('policy before', () => policyOfCapture(before)!.policy);
  const p2 = t('policy after', () => policyOfCapture(after)!.policy);
  t('compareCaptures', () => compareCaptures(before, after));
  const d = t('trafficBetween', () => trafficBetween(before, after));
  console.log(d?.verdict, d?.rows.length, d?.unresolved.length);
  const f = t('findings', () => newFindings(p1, p2)); console.log(f.findings.length, f.unexamined.length);
  const plan = t('planTarget', () => planTarget(graft, { device: { name: 'x', port: 22 }, files, facts: { applyNeedsRestart: () => false }, fill: () => undefined, promises: [], way: null }));
  console.log(plan.problems, plan.changed, plan.plans[0]?.plan.carried.map((c) => c.fate.how).join(' '));
}
