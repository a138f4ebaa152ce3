import type { Family } from '#core/address';
import { type Naming, type RowTexts, rowTexts } from './describe.ts';
import { type PacketRecord, packetRecord } from './packet-record.ts';
import type { Origin, Path, Rewrite, Rule, Unread, Verdict } from './policy.ts';
import type { RowOutcome, TrafficDifference, TrafficRow } from './row.ts';
import { rewriteText } from './translation.ts';

export interface OutcomeRecord {
  readonly verdict: Verdict;
  /** Present where translation applies: `dnat to 10.0.0.1`, one after the other. */
  readonly rewrite?: string;
}

/** A row as plain data, for JSON. */
export interface RowRecord extends RowTexts {
  readonly path: Path;
  readonly family: Family;
  readonly before: OutcomeRecord;
  readonly after: OutcomeRecord;
  /** Null when no rule decides. */
  readonly ruleBefore: Origin | null;
  readonly ruleAfter: Origin | null;
  readonly example: PacketRecord;
}

export interface DifferenceRecord {
  readonly verdict: TrafficDifference['verdict'];
  readonly exact: boolean;
  readonly unread: readonly (Origin & { readonly reason: string })[];
  /** False when rows are missing: some change has more than are listed, or something is unresolved. */
  readonly complete: boolean;
  readonly rows: readonly RowRecord[];
  readonly unresolved: readonly {
    readonly path: Path;
    readonly family: Family;
    readonly rules: readonly Origin[];
    readonly packet: PacketRecord | null;
  }[];
}

/** A difference as plain data, for JSON. */
export function differenceRecord(difference: TrafficDifference, naming: Naming = {}): DifferenceRecord {
  const { verdict, exact, unread, changes, rows, unresolved } = difference;
  return {
    verdict,
    exact,
    unread: unread.map(unreadRecord),
    complete: unresolved.length === 0 && changes.every((change) => change.complete),
    rows: rows.map((row) => rowRecord(row, naming)),
    unresolved: unresolved.map(({ path, family, rules, packet }) => ({
      path,
      family,
      rules: rules.map((rule) => rule.origin),
      packet: packet === undefined ? null : packetRecord(packet),
    })),
  };
}

export function rowRecord(row: TrafficRow, naming: Naming = {}): RowRecord {
  return {
    path: row.path,
    family: row.family,
    ...rowTexts(row, naming),
    before: outcomeRecord(row.before),
    after: outcomeRecord(row.after),
    ruleBefore: originRecord(row.ruleBefore),
    ruleAfter: originRecord(row.ruleAfter),
    example: packetRecord(row.example),
  };
}

export function outcomeRecord({ verdict, rewrites }: RowOutcome): OutcomeRecord {
  return { verdict, ...(rewrites.length > 0 && { rewrite: rewritesText(rewrites) }) };
}

function rewritesText(rewrites: readonly Rewrite[]): string {
  return rewrites.map(rewriteText).join(', ');
}

function originRecord(rule: Rule | undefined): Origin | null {
  if (rule === undefined) return null;
  const { file, line, text } = rule.origin;
  return { file, line, text };
}

function unreadRecord({ file, line, text, reason }: Unread) {
  return { file, line, text, reason };
}
