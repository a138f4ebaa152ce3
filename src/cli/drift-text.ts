import type { ConfigObject, FieldChange } from '#core/config';
import type { Drift, PlannedDevice, PreparedGraft, TargetPlan } from '#runs';
import { choiceData, choiceText } from './graft-choice.ts';
import { plannedData } from './graft-record.ts';
import { fieldText } from './object-difference-text.ts';
import { table } from './table.ts';
import { differenceText } from './traffic-answer.ts';

export interface DeviceDrift {
  readonly planned: PlannedDevice;
  /** Null where the device has no capture. */
  readonly drift: Drift | null;
}

interface Asked {
  readonly from: string;
  readonly selectors: readonly string[];
  readonly prepared: PreparedGraft;
}

/** The drift as plain data, for JSON. */
export function driftData({ from, prepared }: Asked, devices: readonly DeviceDrift[]) {
  return {
    yardstick: from,
    parts: choiceData(prepared),
    devices: devices.map(({ planned, drift }) => ({
      ...plannedData(planned),
      holds: drift?.holds.map(named) ?? null,
      differs:
        drift?.differs.map(({ object, there, fields }) => ({
          ...named(object),
          there: there.name,
          fields,
        })) ?? null,
      lacks: drift?.lacks.map(named) ?? null,
    })),
  };
}

/** Devices that stand alike together: first who is level, then each way to differ. */
export function driftText(asked: Asked, devices: readonly DeviceDrift[]): string {
  const lines = [choiceText(asked.prepared, `the yardstick, ${asked.from}`), ''];
  const groups = new Map<string, string[]>();
  for (const one of devices) {
    const text = standing(one).join('\n');
    groups.set(text, [...(groups.get(text) ?? []), one.planned.device]);
  }
  for (const [text, names] of groups) lines.push(names.join(', '), text, '');
  const rows = devices.map(({ planned, drift }) =>
    drift === null
      ? [planned.device, '-', '-', '-', 'no capture']
      : [
          planned.device,
          ...[drift.holds, drift.differs, drift.lacks].map(({ length }) => String(length)),
          planned.capture === null ? '' : planned.capture.at,
        ],
  );
  lines.push(table(['device', 'alike', 'differ', 'lacking', 'captured'], rows));
  const apart = devices
    .filter(({ drift }) => drift !== null && drift.differs.length + drift.lacks.length > 0)
    .map(({ planned }) => planned.device);
  if (apart.length > 0) {
    const take = asked.selectors.map((one) => `'${one}'`).join(' ');
    lines.push(
      '',
      'To bring them level:',
      `  tuckpoint graft --from ${asked.from} --take ${take} --on-collision take --onto ${apart.join(' ')} --dry-run`,
    );
  }
  return lines.join('\n');
}

function standing({ planned, drift }: DeviceDrift): string[] {
  if (planned.plan === null || drift === null)
    return [`  Not known: ${planned.plan === null ? planned.why : ''}`];
  const { plan } = planned;
  const lines: string[] = [];
  for (const { object, fields } of drift.differs) {
    lines.push(`  differs: ${object.kind} ${object.name}`);
    lines.push(...(fields.length === 0 ? insideLines(plan, object) : fields.map(fieldLine)));
  }
  for (const { kind, name } of drift.lacks) lines.push(`  lacks: ${kind} ${name}`);
  const level = drift.differs.length + drift.lacks.length === 0;
  if (level && plan.problems.length === 0) return ['  holds all of it alike'];
  for (const { plan: own } of plan.plans)
    for (const { object, there } of own.offers)
      lines.push(`      but holds the same value as ${there.name} (in place of ${object.name})`);
  for (const { sentence } of plan.problems) lines.push(`  not clear: ${sentence}`);
  if (plan.problems.length > 0) lines.push('  Traffic was not compared, since that is not clear.');
  else if (plan.trafficUnknown !== null) lines.push(`  Traffic was not compared: ${plan.trafficUnknown}`);
  else if (plan.traffic !== null) {
    lines.push('  If it were brought level:');
    lines.push(
      ...differenceText(plan.traffic, plan.naming())
        .split('\n')
        .map((line) => (line === '' ? '' : `    ${line}`)),
    );
  }
  return lines;
}

/** What differs in a chain is its rules. */
function insideLines(plan: TargetPlan, { id }: ConfigObject): string[] {
  const inside = plan.difference.parts.flatMap(({ difference }) =>
    difference.changes.filter(({ before, after }) => (after ?? before)!.section === id),
  );
  if (inside.length === 0) return ['      in what stands in it'];
  const lines = inside.map((change) => {
    const { kind, name } = (change.after ?? change.before)!;
    const word = { added: 'lacks', removed: 'has besides' }[change.change as string] ?? change.change;
    return [`      ${word} ${kind} ${name}`, ...change.fields.map((field) => `    ${fieldLine(field)}`)];
  });
  return lines.flat();
}

const fieldLine = (field: FieldChange) => `      ${fieldText(field)}`;

const named = ({ kind, name }: ConfigObject) => ({ kind, name });
