import { codeOf, TuckpointError } from '#core/errors';
import { checkPromises, type Policy, type TrafficPromise } from '#core/traffic';
import { policyOfCapture, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import type { DeviceRecord } from '#store';
import type { Reading } from '../languages.ts';
import { endsOfTheWay } from '../promises/way-in.ts';
import { checkAround } from './promises.ts';

/** Promises on a configuration, in the user's words. */
export interface PromisesKept {
  readonly checked: number;
  readonly broken: readonly string[];
  /** Those of them that the configuration from before keeps. */
  readonly newlyBroken: readonly string[];
  /** Those that could not be decided, and were decided on the configuration from before. */
  readonly undecided: readonly string[];
  /** What was not checked, and why; sentences. */
  readonly notChecked: readonly string[];
}

/** Checks the way in and other promises on a configuration of a device, against the one from before. */
export async function promisesKept(
  device: DeviceRecord,
  promises: readonly TrafficPromise[],
  before: readonly NamedFile[],
  now: readonly NamedFile[],
  reading: Reading,
): Promise<PromisesKept> {
  const way = await endsOfTheWay(device);
  const [then, policy] = [policyIn(before, reading), policyIn(now, reading)];
  const { checks, notChecked } = checkAround({ device, way, promises }, then, policy);
  const answered = (answer: string) => checks.filter((check) => check.answer === answer);
  const words = (some: readonly { readonly promise: TrafficPromise }[]) => some.map((c) => c.promise.words);
  const undecided = answered('undecided');
  const earlier =
    then === null
      ? []
      : checkPromises(
          then,
          undecided.map(({ promise }) => promise),
        );
  const unread = new Set(checks.flatMap((check) => check.unread.map((u) => `${u.file}:${u.line}`)));
  return {
    checked: checks.length,
    broken: words(answered('broken')),
    newlyBroken: words(answered('broken').filter(({ brokenBefore }) => !brokenBefore)),
    undecided: words(undecided.filter((_, i) => earlier[i]?.answer !== 'undecided')),
    notChecked: [
      ...notChecked,
      ...words(undecided).map((promise) => `Not decided: ${promise}.`),
      ...(unread.size === 0 ? [] : [`Promises were checked but for ${unread.size} statements not read.`]),
    ],
  };
}

/** The packet rules; null where there are none, or none that can be read. */
function policyIn(files: readonly NamedFile[], reading: Reading): Policy | null {
  try {
    return policyOfCapture(readCapture(files, reading))?.policy ?? null;
  } catch (error) {
    if (!(error instanceof TuckpointError) || codeOf(error)?.startsWith('dialects/') !== true) throw error;
    return null;
  }
}
