import { compareConfigurations, type ObjectDifference, type TypedConfiguration } from '#core/config';
import { type TrafficBudget, type TrafficDifference, trafficDifference } from '#core/traffic';
import { type CapturePart, policyOfCapture, type ReadCapture } from './read-capture.ts';
import { withUnreadFiles } from './unread-files.ts';

/** Two captures laid side by side, as far as dialects read them. */
export interface CaptureComparison {
  /** Objects, by the dialect that read them on either side. */
  readonly parts: readonly { readonly dialect: string; readonly difference: ObjectDifference }[];
  /** Files that no dialect read, on either side, with the reason. */
  readonly unread: readonly { readonly name: string; readonly why: string }[];
}

/** Compares two captures object by object. */
export function compareCaptures(before: ReadCapture, after: ReadCapture): CaptureComparison {
  const names = [...new Set([...before.parts, ...after.parts].map((part) => part.dialect.name))];
  const parts = names.map((dialect) => ({
    dialect,
    difference: compareConfigurations(readBy(dialect, before.parts), readBy(dialect, after.parts)),
  }));
  const unread = new Map([...before.unread, ...after.unread].map((file) => [file.name, file]));
  return { parts, unread: [...unread.values()].map(({ name, why }) => ({ name, why })) };
}

/**
 * Compares the packet rules of two captures; null when neither carries any. A side without any lets everything pass.
 * @throws TuckpointError `dialects/two-policies`.
 */
export function trafficBetween(
  before: ReadCapture,
  after: ReadCapture,
  budget?: TrafficBudget,
): TrafficDifference | null {
  const [then, now] = [policyOfCapture(before), policyOfCapture(after)];
  if (then === null && now === null) return null;
  const nothing = { pipelines: [], unread: [] };
  return trafficDifference(
    withUnreadFiles(then?.policy ?? nothing, before, after),
    withUnreadFiles(now?.policy ?? nothing, after, before),
    budget,
  );
}

function readBy(dialect: string, parts: readonly CapturePart[]): TypedConfiguration {
  const found = parts.find((part) => part.dialect.name === dialect);
  return found?.configuration ?? { dialect, files: [], objects: [], opaque: [], syntax: null };
}
