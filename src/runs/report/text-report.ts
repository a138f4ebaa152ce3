import { drawSlots } from '#core/slots';
import type { ConfigurationSection, ReadingsSection, RunReport } from './run-report.ts';
import {
  byWeight,
  clockText,
  countText,
  deviceText,
  durationText,
  headline,
  JUDGEMENT_WORD,
  readingsText,
  sameSlots,
  slotsText,
  spanText,
  stepsText,
} from './sentences.ts';
import { visible, visibleLine } from './visible.ts';

const WIDTH = 96;

/** The report as plain text for a terminal or a mail: sentences first, no colour. */
export function textReport(report: RunReport): string {
  const parts = [
    [
      visibleLine(`Run ${report.run}: ${report.procedure.title}`),
      visibleLine(deviceText(report)),
      visibleLine(spanText(report)),
    ].join('\n'),
    wrap(`${headline(report)} ${visibleLine(report.reason)}`, ''),
    list('What to do next', report.next),
    list('To know beforehand', report.warnings ?? []),
    slots(report),
    steps(report),
    ...report.configuration.map(configuration),
    ...report.readings.map(readings),
    report.readBack ? list('Read back', report.readBack.promises, report.readBack.sentence) : '',
    report.traffic ? list('Traffic', report.traffic.rows, report.traffic.sentence) : '',
    list('What was not checked', report.notChecked),
  ];
  return `${parts.filter((part) => part !== '').join('\n\n')}\n`;
}

function slots({ slots: { before, predicted, after }, decision }: RunReport): string {
  const moments = [
    before === null ? null : `before\n${drawSlots(before)}`,
    predicted === null || (after !== null && sameSlots(predicted, after))
      ? null
      : `predicted\n${drawSlots(predicted)}`,
    after === null ? null : `after\n${drawSlots(after)}`,
  ].filter((moment) => moment !== null);
  return `Slots\n${wrap(slotsText({ before, predicted, after }, decision), '  ')}\n\n${visible(moments.join('\n'))}`.trimEnd();
}

function steps(report: RunReport): string {
  const lines = report.steps.map((step) => {
    const at = step.startedAt === null ? '' : clockText(step.startedAt, report.startedAt);
    const seconds = step.seconds === null ? '' : durationText(step.seconds);
    const line = `  ${at.padEnd(9)}  ${step.outcome.padEnd(11)}  ${seconds.padStart(10)}  ${visibleLine(step.title)}`;
    return step.note === null ? line : `${line}\n${wrap(visibleLine(step.note), ' '.repeat(38))}`;
  });
  return [`Steps`, `  ${stepsText(report)}`, ...lines].join('\n');
}

function configuration({ title, files }: ConfigurationSection): string {
  if (files.length === 0) return `Configuration: ${visibleLine(title)}\n  Not one file differs.`;
  const shown = files.map(({ name, change, difference }) =>
    difference === null
      ? `  ${visibleLine(name)}: ${change}; it is no text.`
      : `  ${visibleLine(name)}: ${change}\n${indent(visible(difference).trimEnd(), '    ')}`,
  );
  return [`Configuration: ${visibleLine(title)}`, ...shown].join('\n');
}

function readings({ title, beforeAt, afterAt, comparison }: ReadingsSection): string {
  const { differing, same } = byWeight(comparison.findings);
  const lines = differing.map(({ judgement, what, before, after, why }) => {
    const line = `  ${JUDGEMENT_WORD[judgement].padEnd(9)}  ${visibleLine(`${what}: ${before} -> ${after}`)}`;
    return `${line}\n${wrap(visibleLine(why), ' '.repeat(13))}`;
  });
  if (same.length > 0)
    lines.push(
      wrap(
        `${countText(same)} (each is in the report page and the JSON).`,
        ' '.repeat(13),
        `  ${JUDGEMENT_WORD.same}  `,
      ),
    );
  return [
    `Readings: ${visibleLine(title)}`,
    `  ${visibleLine(`${beforeAt} against ${afterAt}`)}. ${readingsText(comparison.verdict)}`,
    ...lines,
  ].join('\n');
}

function list(title: string, entries: readonly string[], sentence?: string): string {
  if (entries.length === 0 && sentence === undefined) return '';
  const first = sentence === undefined ? [] : [wrap(visibleLine(sentence), '  ')];
  return [title, ...first, ...entries.map((entry) => wrap(visibleLine(entry), '    ', '  - '))].join('\n');
}

function indent(text: string, by: string): string {
  return text.replace(/^(?=.)/gm, by);
}

/** Breaks a line at spaces; a word longer than the line stays whole. */
function wrap(text: string, by: string, first = by): string {
  const lines: string[] = [];
  let line = first;
  for (const word of text.split(' ').filter((w) => w !== '')) {
    const fits = line.length + word.length < WIDTH;
    if (!fits && line.trim() !== '' && line !== first) {
      lines.push(line);
      line = by;
    }
    line += line.length > by.length ? ` ${word}` : word;
  }
  return [...lines, line].join('\n');
}
