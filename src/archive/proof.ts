import type { Proof } from './entry.ts';
import type { Inside } from './inside.ts';
import type { VerifyReport } from './verify.ts';

/** When something was last done for a device, and with which capture. */
export interface LastDone {
  readonly id: string;
  readonly at: string;
}

/** What the archive shows for a device. Null: never. */
export interface DeviceStanding {
  readonly device: string;
  readonly captures: number;
  readonly lastCapture: LastDone;
  readonly lastVerified: LastDone | null;
  readonly lastRehearsed: LastDone | null;
  /** Last actually restored onto a device. */
  readonly lastRestored: LastDone | null;
}

/** Notes that captures were proven: rehearsed or restored, and how. */
export async function noteProof(
  inside: Inside,
  what: Proof,
  ids: readonly string[],
  how: string,
): Promise<void> {
  if (ids.length > 0)
    await inside
      .alone(() => inside.append([{ kind: 'proven', what, ids: [...ids], how }]))
      .then(() => undefined);
}

/** Notes the result of a verification: all captures, or those found good. */
export async function noteVerified(inside: Inside, report: VerifyReport): Promise<void> {
  const all = report.files.length === 0 && report.goodCaptures === report.captures;
  if (report.goodCaptures === 0) return;
  const ids = all ? null : [...report.goodOf.values()].flat();
  const how = 'opened, every digest compared';
  await inside.alone(() => inside.append([{ kind: 'proven', what: 'verified', ids, how }]));
}

/** For each device: its last capture, and when it was last verified, rehearsed and actually restored. */
export async function standing(inside: Inside): Promise<DeviceStanding[]> {
  await inside.refresh();
  const { catalogue } = inside;
  return catalogue.devices.map((device) => {
    const records = catalogue.list(device);
    const newest = records.at(-1)!;
    const last = (what: Proof): LastDone | null => {
      let found: LastDone | null = null;
      for (const { id } of records) {
        const at = catalogue.provenAt(id, what);
        if (at !== null && (found === null || at >= found.at)) found = { id, at };
      }
      return found;
    };
    return {
      device,
      captures: records.length,
      lastCapture: { id: newest.id, at: newest.at },
      lastVerified: last('verified'),
      lastRehearsed: last('rehearsed'),
      lastRestored: last('restored'),
    };
  });
}
