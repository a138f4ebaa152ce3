import { withoutSecrets } from '#core/config';
import { differenceRecord, originRecord, rowRecord } from '#core/traffic';
import type { PlannedDevice } from '#runs';
import { rulesOf } from './finding-text.ts';

/** A device's plan as plain data, for JSON. File contents stay out: they may hold secrets. */
export function plannedData(planned: PlannedDevice) {
  if (planned.plan === null) return { device: planned.device, capture: null, why: planned.why };
  const { capture, plan } = planned;
  const { findings, unexamined } = plan.findings();
  const naming = plan.naming();
  return {
    device: plan.device,
    capture: capture.id,
    capturedAt: capture.at,
    plannedOn: plan.plannedOn,
    files: plan.changed,
    carried: plan.plans.flatMap(({ dialect, plan: own }) =>
      own.carried.map(({ part, fate }) => ({
        dialect,
        kind: part.object.kind,
        name: part.object.name,
        role: part.role,
        because: part.because?.name ?? null,
        fate: fate.how,
        there: 'there' in fate ? fate.there.name : null,
        as: fate.how === 'renamed' ? fate.name : null,
      })),
    ),
    offers: plan.plans.flatMap(({ plan: own }) =>
      own.offers.map(({ object, there }) => ({ kind: object.kind, name: object.name, there: there.name })),
    ),
    remarks: plan.plans.flatMap(({ plan: own }) => own.remarks),
    fillIns: plan.fillIns,
    problems: plan.problems,
    objects: plan.difference.parts.flatMap(({ dialect, difference }) =>
      difference.changes.map(({ change, kind, before, after, fields }) => ({
        dialect,
        change,
        kind,
        name: (after ?? before)?.name,
        fields: withoutSecrets(fields),
      })),
    ),
    filesNotRead: plan.difference.unread,
    traffic: plan.traffic === null ? null : differenceRecord(plan.traffic, naming),
    trafficUnknown: plan.trafficUnknown,
    findings: findings.map((finding) => ({
      kind: finding.kind,
      rule: originRecord(finding.rule),
      ways: finding.ways,
      proof: rulesOf(finding).map(originRecord),
    })),
    notExamined: unexamined.map(originRecord),
    promises: plan.promises.checks.map(
      ({ promise, answer, exact, brokenBefore, unread, rows, complete }) => ({
        says: promise.words,
        must: promise.must,
        answer,
        exact,
        brokenBefore,
        unread,
        rows: rows.map((row) => rowRecord(row, naming)),
        complete,
      }),
    ),
    promisesNotChecked: plan.promises.notChecked,
    restart: plan.restart,
  };
}
