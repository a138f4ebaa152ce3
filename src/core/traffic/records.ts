import type { Family } from '#core/address';
import { type Naming, type RowTexts, rowTexts } from './describe.ts';
import { changeEffects } from './findings/effect-of-change.ts';
import { type PacketRecord, packetRecord } from './packet-record.ts';
import type { Origin, Path, Rewrite, Rule, Unread, Verdict } from './policy.ts';
import type { TrafficDifference, TrafficRow } from './row.ts';
import { rewriteText } from './translation.ts';

/** A row as plain data, for JSON. */
export interface RowRecord extends RowTexts {
  readonly path: Path;
  readonly family: Family;
  readonly before: Verdict;
  readonly after: Verdict;
  /** Present where translation applies on either side: `dnat to 10.0.0.1`, one after the other; null: none there. */
  readonly rewrite?: { readonly before: string | null; readonly after: string | null };
  /** Null when no rule decides. */
  readonly ruleBefore: Origin | null;
  readonly ruleAfter: Origin | null;
  readonly example: PacketRecord;
  /** The lists that read otherwise with the user's own names in them; absent where no name fits. */
  readonly named?: Partial<RowTexts>;
}

export interface DifferenceRecord {
  readonly verdict: TrafficDifference['verdict'];
  readonly exact: boolean;
  readonly unread: readonly (Origin & { readonly reason: string })[];
  /** False when rows are missing: some change has more than are listed, or something is unresolved. */
  readonly complete: boolean;
  /** Rows that come from one cause, biggest consequence first: how many of the rows below, in order, are its own. */
  readonly changes: readonly {
    readonly path: Path;
    readonly family: Family;
    readonly before: Verdict;
    readonly after: Verdict;
    /** The changed rule that decided; null when an unchanged one did. */
    readonly ruleBefore: Origin | null;
    readonly ruleAfter: Origin | null;
    readonly rows: number;
    readonly complete: boolean;
    /** The effect of which changed rules. */
    readonly effectOf: readonly Origin[];
    /** Rules that take packets of these before them; null: not worked out. */
    readonly exceptTakenBy: readonly Origin[] | null;
    /** Rules of the other version that treat packets of these alike; null: not worked out. */
    readonly exceptAlikeBy: readonly Origin[] | null;
  }[];
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
  const effects = changeEffects(difference);
  const origins = (rules: readonly Rule[] | undefined) => rules?.map(originRecord) ?? null;
  return {
    verdict,
    exact,
    unread: unread.map(unreadRecord),
    complete: unresolved.length === 0 && changes.every((change) => change.complete),
    changes: changes.map((change, n) => ({
      path: change.path,
      family: change.family,
      before: change.before.verdict,
      after: change.after.verdict,
      ruleBefore: originOf(change.changedBefore),
      ruleAfter: originOf(change.changedAfter),
      rows: change.rows.length,
      complete: change.complete,
      effectOf: origins(effects[n]!.of) ?? [],
      exceptTakenBy: origins(effects[n]!.taken),
      exceptAlikeBy: origins(effects[n]!.alike),
    })),
    rows: rows.map((row) => rowRecord(row, naming)),
    unresolved: unresolved.map(({ path, family, rules, packet }) => ({
      path,
      family,
      rules: rules.map(originRecord),
      packet: packet === undefined ? null : packetRecord(packet),
    })),
  };
}

export function rowRecord(row: TrafficRow, naming: Naming = {}): RowRecord {
  const plain = rowTexts(row);
  return {
    path: row.path,
    family: row.family,
    ...plain,
    before: row.before.verdict,
    after: row.after.verdict,
    ...rewriteRecord(row),
    ruleBefore: originOf(row.ruleBefore),
    ruleAfter: originOf(row.ruleAfter),
    example: packetRecord(row.example),
    ...namedRecord(row, plain, naming),
  };
}

/** The lists of texts that differ with names; the plain ones stay what programs read. */
function namedRecord(row: TrafficRow, plain: RowTexts, naming: Naming): Pick<RowRecord, 'named'> {
  if (Object.keys(naming).length === 0) return {};
  const differs = (texts: readonly string[], others: readonly string[]) =>
    texts.length !== others.length || texts.some((text, n) => text !== others[n]);
  const entries = Object.entries(rowTexts(row, naming)) as [keyof RowTexts, readonly string[]][];
  const named = entries.filter(([field, texts]) => differs(texts, plain[field]));
  return named.length === 0 ? {} : { named: Object.fromEntries(named) };
}

function rewriteRecord({ before, after }: TrafficRow) {
  if (before.rewrites.length + after.rewrites.length === 0) return {};
  return { rewrite: { before: rewritesText(before.rewrites), after: rewritesText(after.rewrites) } };
}

function rewritesText(rewrites: readonly Rewrite[]): string | null {
  return rewrites.length === 0 ? null : rewrites.map(rewriteText).join(', ');
}

/** Where a rule stands, as plain data. */
export function originRecord({ origin: { file, line, text } }: Rule): Origin {
  return { file, line, text };
}

function originOf(rule: Rule | undefined): Origin | null {
  return rule === undefined ? null : originRecord(rule);
}

function unreadRecord({ file, line, text, reason }: Unread) {
  return { file, line, text, reason };
}
