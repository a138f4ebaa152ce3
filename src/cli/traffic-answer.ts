import {
  differenceSentence,
  rowSentence,
  ruleSentence,
  type TrafficDifference,
  type TrafficRow,
  wordsOfPacket,
  wordsOfRow,
} from '#core/traffic';

/** A traffic difference as data for programs; docs/traffic.md describes each field. */
export function differenceData(difference: TrafficDifference) {
  const { verdict, exact, unread, rows, changes, unresolved } = difference;
  return {
    verdict,
    exact,
    unread: unread.map(({ file, line, text, reason }) => ({ file, line, text, reason })),
    changes: changes.map((change) => ({
      path: change.path,
      family: change.family,
      before: change.before.verdict,
      after: change.after.verdict,
      ruleBefore: change.changedBefore?.origin ?? null,
      ruleAfter: change.changedAfter?.origin ?? null,
      rows: change.rows.length,
      complete: change.complete,
    })),
    rows: rows.map(wordsOfRow),
    unresolved: unresolved.map(({ path, family, rules, packet }) => ({
      path,
      family,
      rules: rules.map((rule) => rule.origin),
      packet: packet === undefined ? null : wordsOfPacket(packet),
    })),
  };
}

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
      `Not decided in full, ${path} the device, IPv${family}: the effect of ${rules.map((r) => ruleSentence(r.origin)).join('; ')}`,
    );
    if (packet !== undefined) lines.push(`  one packet that differs: ${packetText(wordsOfPacket(packet))}`);
  }
  if (difference.unread.length > 0) {
    lines.push('', 'Not read, so that the answer holds but for what these do:');
    for (const { file, line, text, reason } of difference.unread)
      lines.push(`  ${file}:${line} "${text}" (${reason})`);
  }
  return lines.join('\n');
}

function rowLines(row: TrafficRow): string[] {
  const { ruleBefore, ruleAfter, example } = wordsOfRow(row);
  return [
    rowSentence(row),
    `  before: ${ruleSentence(ruleBefore)}`,
    `  after:  ${ruleSentence(ruleAfter)}`,
    `  for example ${packetText(example)}`,
  ];
}

function changeLines(difference: TrafficDifference): string[] {
  return difference.changes.flatMap((change) => {
    const causes = [change.changedBefore, change.changedAfter].filter((rule) => rule !== undefined);
    const cause =
      causes.length === 0 ? 'unchanged rules' : causes.map((r) => ruleSentence(r.origin)).join(' and ');
    const first = change.rows[0];
    return [
      `${change.before.verdict} -> ${change.after.verdict}, ${change.path} the device, IPv${change.family}: the effect of ${cause}, ${change.complete ? '' : 'at least '}${change.rows.length} rows`,
      ...(first === undefined ? [] : [`  first: ${rowSentence(first)}`]),
    ];
  });
}

function packetText(packet: ReturnType<typeof wordsOfPacket>): string {
  const { source, destination, protocol, sourcePort, destinationPort, icmpType, icmpCode, state } = packet;
  const port = (n: number | undefined) => (n === undefined ? '' : ` port ${n}`);
  const icmp = icmpType === undefined ? '' : ` type ${icmpType} code ${icmpCode ?? 0}`;
  const legs = [
    packet.inInterface && `in ${packet.inInterface}`,
    packet.outInterface && `out ${packet.outInterface}`,
  ];
  return [
    ...legs,
    `${protocol}${icmp} ${source}${port(sourcePort)} -> ${destination}${port(destinationPort)}`,
    state,
  ]
    .filter((part) => part !== '')
    .join(' ');
}
