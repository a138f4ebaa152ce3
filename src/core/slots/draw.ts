import { shortDigest } from './operation.ts';
import type { SlotContent, SlotState } from './state.ts';

const MARGIN = '  ';
const GAP = '   ';
/** A device chooses its names; none may steer a terminal. */
const STEERING = /[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu;

/**
 * The slot strip as plain text: one box per slot, the running one under a double rule, the spare under a single one.
 * With a prediction a second strip follows, and a star stands before each line that will change. `notes` adds lines
 * under the slots as they are now, by index (an age, a remark). No colour, ASCII only, lines end without spaces.
 */
export function drawSlots(
  state: SlotState,
  prediction?: SlotState,
  notes: readonly (readonly string[])[] = [],
): string {
  const now = state.slots.map((_, i) => [...slotLines(state, i), ...(notes[i] ?? [])]);
  if (prediction === undefined) return `${strip(now, state)}\n`;
  const then = prediction.slots.map((_, i) => slotLines(prediction, i));
  const marks = then.map((lines, i) => lines.map((line, row) => line !== slotLines(state, i)[row]));
  const unchanged = marks.every((rows) => rows.every((mark) => !mark));
  const ending = unchanged ? 'nothing changes' : '* changes';
  return `now\n${strip(now, state)}\n\nthen (${ending})\n${strip(then, prediction, marks)}\n`;
}

/** What one slot holds, in words, one line each: part, release, configuration, whether it booted well. */
export function slotLines(state: SlotState, index: number): readonly string[] {
  const slot = state.slots[index]!;
  return [
    partOf(state, index),
    `release  ${slot.release ?? 'unknown'}`,
    `config   ${slot.configuration === null ? 'unknown' : shortDigest(slot.configuration)}`,
    bootedText(slot),
  ];
}

function partOf(state: SlotState, index: number): string {
  return [
    index === state.running ? 'running' : 'spare',
    index === state.running && state.restartDue === true ? 'restart due' : null,
    index === state.next ? 'boots next' : null,
  ]
    .filter((word) => word !== null)
    .join(', ');
}

function bootedText(slot: SlotContent): string {
  if (slot.bootedWell) return 'booted well here';
  return slot.release === null || slot.configuration === null
    ? 'cannot tell if it boots'
    : 'not seen to boot well';
}

function strip(
  boxes: readonly (readonly string[])[],
  state: SlotState,
  marks: readonly (readonly boolean[])[] = [],
): string {
  const titled = boxes.map((lines, i) => ({
    title: plain(`[ slot ${state.slots[i]!.id} ]`),
    lines: lines.map(plain),
  }));
  const widths = titled.map(({ title, lines }) =>
    Math.max(24, title.length + 4, ...lines.map((line) => line.length + 2)),
  );
  const rules = titled.map(({ title }, i) => rule(title, widths[i]!, i === state.running ? '=' : '-'));
  const height = Math.max(...boxes.map((lines) => lines.length));
  const rows = Array.from({ length: height }, (_, row) =>
    titled.map(({ lines }, i) =>
      `${marks[i]?.[row] === true ? '*' : ' '} ${lines[row] ?? ''}`.padEnd(widths[i]!),
    ),
  );
  return [rules, ...rows].map((cells) => `${MARGIN}${cells.join(GAP)}`.trimEnd()).join('\n');
}

function rule(title: string, width: number, line: string): string {
  return `${line}${line}${title}`.padEnd(width, line);
}

function plain(text: string): string {
  return text.replace(STEERING, '?');
}
