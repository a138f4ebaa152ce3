import {
  differenceSentence,
  originText,
  packetText,
  rowSentence,
  type TrafficDifference,
  type TrafficRow,
} from '#core/traffic';

/** Rows shown one by one; above that each change is one line, and its rows are in the JSON. */
const SHOWN = 20;

/** A traffic difference for a person: the answer, then the rows, biggest consequence first. */
export function differenceText(difference: TrafficDifference): string {
  const lines = [differenceSentence(difference)];
  if (difference.rows.length <= SHOWN) for (const row of difference.rows) lines.push('', ...rowLines(row));
  else lines.push('', ...changeLines(difference));
  for (const { path, family, rules, packet } of difference.unresolved) {
    lines.push(
      '',
      `Not decided in full, ${path} the device, IPv${family}: the effect of ${rules.map((r) => originText(r.origin)).join('; ')}`,
    );
    if (packet !== undefined) lines.push(`  one packet that differs: ${packetText(packet)}`);
  }
  if (difference.unread.length > 0) {
    lines.push('', 'Not read, so that the answer holds but for what these do:');
    for (const { file, line, text, reason } of difference.unread)
      lines.push(`  ${file}:${line} "${text}" (${reason})`);
  }
  return lines.join('\n');
}

function rowLines(row: TrafficRow): string[] {
  const { ruleBefore, ruleAfter, example } = row;
  return [
    rowSentence(row),
    `  before: ${originText(ruleBefore?.origin)}`,
    `  after:  ${originText(ruleAfter?.origin)}`,
    `  for example ${packetText(example)}`,
  ];
}

function changeLines(difference: TrafficDifference): string[] {
  return difference.changes.flatMap((change) => {
    const causes = [change.changedBefore, change.changedAfter].filter((rule) => rule !== undefined);
    const cause =
      causes.length === 0 ? 'unchanged rules' : causes.map((r) => originText(r.origin)).join(' and ');
    const first = change.rows[0];
    return [
      `${change.before.verdict} -> ${change.after.verdict}, ${change.path} the device, IPv${change.family}: the effect of ${cause}, ${change.complete ? '' : 'at least '}${change.rows.length} rows`,
      ...(first === undefined ? [] : [`  first: ${rowSentence(first)}`]),
    ];
  });
}
