import { type ConfigObject, type FieldChange, withoutSecrets } from '#core/config';
import { type Drift, driftOf, type PlannedDevice, type PreparedGraft, type TargetPlan } from '#runs';
import { choiceData, choiceText } from './graft-choice.ts';
import { plannedData } from './graft-record.ts';
import { fieldText } from './object-difference-text.ts';
import { table } from './table.ts';
import { differenceText } from './traffic-answer.ts';

/** What is kept of one device once it is shown: a plan holds whole configurations. */
export interface ShownDrift {
  readonly device: string;
  readonly text: string;
  readonly row: readonly string[];
  /** Plain data, for JSON; null where nobody asked. */
  readonly data: unknown;
  readonly apart: boolean;
  /** Null: not known. */
  readonly level: boolean | null;
}

interface Asked {
  readonly from: string;
  readonly selectors: readonly string[];
  /** Further options of `graft`, as given. */
  readonly more: readonly string[];
  readonly prepared: PreparedGraft;
}

export function shownDrift(planned: PlannedDevice, json: boolean): ShownDrift {
  const { device, plan } = planned;
  const drift = plan === null ? null : driftOf(plan);
  const apart = drift !== null && drift.differs.length + drift.lacks.length > 0;
  return {
    device,
    text: standing(planned, drift).join('\n'),
    row:
      drift === null || planned.capture === null
        ? [device, '-', '-', '-', 'no capture']
        : [
            device,
            ...[drift.holds, drift.differs, drift.lacks].map(({ length }) => String(length)),
            planned.capture.at,
          ],
    data: json ? dataOf(planned, drift) : null,
    apart,
    level: plan === null || plan.problems.length > 0 ? null : !apart,
  };
}

function dataOf(planned: PlannedDevice, drift: Drift | null) {
  return {
    ...plannedData(planned),
    holds: drift?.holds.map(named) ?? null,
    differs:
      drift?.differs.map(({ object, there, fields }) => ({
        ...named(object),
        there: there.name,
        fields: withoutSecrets(fields),
      })) ?? null,
    lacks: drift?.lacks.map(named) ?? null,
  };
}

/** The drift as plain data, for JSON. */
export function driftData({ from, prepared }: Asked, devices: readonly ShownDrift[]) {
  return { yardstick: from, parts: choiceData(prepared), devices: devices.map(({ data }) => data) };
}

/** Devices that stand alike together: first who is level, then each way to differ. */
export function driftText(asked: Asked, devices: readonly ShownDrift[]): string {
  const lines = [choiceText(asked.prepared, `the yardstick, ${asked.from}`), ''];
  const groups = new Map<string, string[]>();
  for (const { text, device } of devices) groups.set(text, [...(groups.get(text) ?? []), device]);
  for (const [text, names] of groups) lines.push(names.join(', '), text, '');
  const heading = ['device', 'alike', 'differ', 'lacking', 'captured'];
  lines.push(
    table(
      heading,
      devices.map(({ row }) => row),
    ),
  );
  const apart = devices.filter((one) => one.apart).map(({ device }) => device);
  if (apart.length > 0) {
    const take = asked.selectors.map((one) => `'${one}'`).join(' ');
    lines.push(
      '',
      'To bring them level:',
      `  tuckpoint graft --from ${asked.from} --take ${take} --on-collision take${asked.more.map((one) => ` ${one}`).join('')} --onto ${apart.join(' ')} --dry-run`,
    );
  }
  return lines.join('\n');
}

function standing(planned: PlannedDevice, drift: Drift | null): string[] {
  if (planned.plan === null || drift === null)
    return [`  Not known: ${planned.plan === null ? planned.why : ''}`];
  const { plan } = planned;
  const lines: string[] = [];
  for (const { object, fields } of drift.differs) {
    lines.push(`  differs: ${object.kind} ${object.name}`);
    lines.push(...(fields.length === 0 ? insideLines(plan, object) : withoutSecrets(fields).map(fieldLine)));
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
    return [
      `      ${word} ${kind} ${name}`,
      ...withoutSecrets(change.fields).map((field) => `    ${fieldLine(field)}`),
    ];
  });
  return lines.flat();
}

const fieldLine = (field: FieldChange) => `      ${fieldText(field)}`;

const named = ({ kind, name }: ConfigObject) => ({ kind, name });
