import {
  changeSentence,
  differenceSentence,
  type GatheredRow,
  gatherChanges,
  gatherRows,
  type Naming,
  originText,
  packetText,
  rowSentence,
  rowText,
  type TrafficDifference,
  translationParts,
} from '#core/traffic';

/** Entries shown one by one; above that each change is one line, and its rows are in the JSON. */
const SHOWN = 20;

const UNREAD_SHOWN = 40;

/**
 * A traffic difference for a person: the answer, then the rows, biggest consequence first. `advice` says what to do about
 * what was left open.
 */
export function differenceText(difference: TrafficDifference, naming: Naming = {}, advice?: string): string {
  const lines = [differenceSentence(difference)];
  const gathered = gatherRows(difference.rows);
  if (gathered.length <= SHOWN) for (const row of gathered) lines.push('', ...rowLines(row, naming));
  else lines.push(...changeLines(difference, naming));
  for (const { path, family, rules, packet } of difference.unresolved) {
    lines.push(
      '',
      `Not decided in full, ${path} the device, IPv${family}: the effect of ${rules.map((r) => originText(r.origin)).join('; ')}`,
    );
    if (packet !== undefined) lines.push(`  one packet that differs: ${packetText(packet)}`);
  }
  if (difference.unresolved.length > 0 && advice !== undefined) lines.push('', advice);
  if (difference.unread.length > 0) {
    lines.push('', 'Not read, so that the answer holds but for what these do:');
    for (const { file, line, text, reason } of difference.unread.slice(0, UNREAD_SHOWN))
      lines.push(`  ${file}:${line} "${text}" (${reason})`);
    const more = difference.unread.length - UNREAD_SHOWN;
    if (more > 0) lines.push(`  and ${more} more, which --json lists`);
  }
  return lines.join('\n');
}

function rowLines(gathered: GatheredRow, naming: Naming): string[] {
  const { row } = gathered;
  const { ruleBefore, ruleAfter, example } = row;
  return [
    rowSentence(gathered, naming),
    ...translationParts(gathered, naming).map((part) => `  of these, ${part}`),
    `  before: ${originText(ruleBefore?.origin)}`,
    `  after:  ${originText(ruleAfter?.origin)}`,
    `  for example ${packetText(example)}`,
  ];
}

function changeLines(difference: TrafficDifference, naming: Naming): string[] {
  return gatherChanges(difference).flatMap((gathered) => {
    const [first] = gathered.rows;
    return [
      '',
      changeSentence(gathered),
      ...(first === undefined ? [] : [`  its largest row: ${rowText(first.row, naming, first.families)}`]),
    ];
  });
}
