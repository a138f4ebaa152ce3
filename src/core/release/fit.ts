import type { ReleaseSheet } from './sheet.ts';
import { compareVersions, isVersion, sameRelease } from './version.ts';

/** What of a device decides whether a release fits it. Null: not known. */
export interface FitDevice {
  readonly model: string | null;
  readonly release: string | null;
}

export type FitVerdict = 'fits' | 'does not fit' | 'cannot tell';

export type FitReasonCode =
  | 'model-named'
  | 'wrong-model'
  | 'model-unknown'
  | 'newer'
  | 'same-release'
  | 'older-release'
  | 'release-unknown'
  | 'order-unknown'
  | 'from-reached'
  | 'from-too-old'
  | 'from-not-stated'
  | 'limitation';

/** `weighs`: which verdict this reason speaks for; `note` for none. */
export interface FitReason {
  readonly code: FitReasonCode;
  readonly weighs: 'for' | 'against' | 'open' | 'note';
  readonly sentence: string;
}

export interface Fit {
  readonly verdict: FitVerdict;
  readonly reasons: readonly FitReason[];
}

/**
 * Does this release fit this device? One reason against is enough for `does not fit`; without one, a single open
 * question makes it `cannot tell`. Limitations are listed, not judged. A minimum release that the sheet does not state
 * is noted and does not hold the verdict up.
 */
export function fit(sheet: ReleaseSheet, device: FitDevice): Fit {
  const reasons = [
    modelReason(sheet, device.model),
    orderReason(sheet.release, device.release),
    fromReason(sheet, device.release),
    ...(sheet.limitations ?? []).map((limitation): FitReason => reason('limitation', 'note', limitation)),
  ];
  const weighs = (weight: FitReason['weighs']) => reasons.some((r) => r.weighs === weight);
  return { verdict: weighs('against') ? 'does not fit' : weighs('open') ? 'cannot tell' : 'fits', reasons };
}

function modelReason(sheet: ReleaseSheet, model: string | null): FitReason {
  if (model === null) return reason('model-unknown', 'open', 'The model of the device is not known.');
  if (sheet.models.includes(model))
    return reason('model-named', 'for', `The release names the model ${model}.`);
  return reason(
    'wrong-model',
    'against',
    `The release is for ${list(sheet.models)}; the device is a ${model}.`,
  );
}

function orderReason(release: string, present: string | null): FitReason {
  if (present === null) {
    return reason('release-unknown', 'open', 'The release that the device runs now is not known.');
  }
  if (sameRelease(release, present)) {
    return reason('same-release', 'against', `The device already runs ${present}.`);
  }
  if (!isVersion(release) || !isVersion(present)) {
    return reason(
      'order-unknown',
      'open',
      `Which of ${present} and ${release} is the newer one cannot be told.`,
    );
  }
  return compareVersions(release, present) > 0
    ? reason('newer', 'for', `${release} is newer than ${present}.`)
    : reason('older-release', 'against', `${release} is older than ${present}, which the device runs.`);
}

function fromReason(sheet: ReleaseSheet, present: string | null): FitReason {
  const { from } = sheet;
  if (from === undefined) {
    return reason('from-not-stated', 'note', 'The release sheet states no oldest release to come from.');
  }
  if (present === null || !isVersion(present) || !isVersion(from)) {
    return reason('release-unknown', 'open', `Whether the device runs ${from} or newer cannot be told.`);
  }
  return compareVersions(present, from) >= 0
    ? reason('from-reached', 'for', `The device runs ${present}; the release takes ${from} or newer.`)
    : reason(
        'from-too-old',
        'against',
        `The device runs ${present}; the release can only be installed from ${from} or newer.`,
      );
}

function reason(code: FitReasonCode, weighs: FitReason['weighs'], sentence: string): FitReason {
  return { code, weighs, sentence };
}

function list(names: readonly string[]): string {
  return names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`;
}
