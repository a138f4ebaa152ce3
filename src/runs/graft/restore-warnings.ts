import type { Capture } from '#archive';
import { readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import type { Sighting } from '#store';
import type { Reading } from '../languages.ts';

/** What a person should know before a whole capture is brought onto a device. */
export interface RestoreWarning {
  /** `heavy`: the run is refused without the user's word. */
  readonly weight: 'heavy' | 'note';
  readonly sentence: string;
}

/** The device a capture is to be brought onto, as far as it is known. */
export interface RestoreTarget {
  readonly device: string;
  readonly seen: Pick<Sighting, 'model' | 'serial' | 'release'> | null;
  /** Names of its interfaces by its last reading, and the running configuration; null: not known. */
  readonly interfaces: readonly string[] | null;
  readonly files: readonly NamedFile[] | null;
  /** How both configurations are read. */
  readonly reading: Reading;
}

/** Where the capture was taken: the device of that name as last seen. */
export type RestoreSource = Pick<Sighting, 'model' | 'serial'> | null;

/**
 * Other device, other model, other release, other interfaces, secrets bound to a device. What cannot be told is said
 * to be unknown. Common practice, no source.
 */
export function restoreWarnings(
  capture: Capture,
  source: RestoreSource,
  target: RestoreTarget,
): RestoreWarning[] {
  const { record } = capture;
  const { device, seen } = target;
  const found: RestoreWarning[] = [];
  const warn = (weight: RestoreWarning['weight'], sentence: string) => found.push({ weight, sentence });
  const foreign = record.device !== device;
  if (foreign) warn('heavy', `The capture is of ${record.device}, not of ${device}.`);
  if (foreign && source !== null && seen !== null && source.model !== seen.model)
    warn('heavy', `Other model: ${record.device} is a ${source.model}, ${device} a ${seen.model}.`);
  if (foreign && (source === null || seen === null))
    warn('heavy', 'Whether both devices are of one model is not known: one of them was never seen.');
  if (record.release === null) warn('note', 'Which release the capture was taken under is not known.');
  else if (seen !== null && record.release !== seen.release)
    warn(
      'note',
      `Other release: the capture was taken under ${record.release}, the device runs ${seen.release}.`,
    );
  for (const sentence of interfaceWarnings(capture.files, target)) warn('heavy', sentence);
  const secrets = boundSecrets(capture.files);
  if (secrets.length > 0) {
    const places = secrets.slice(0, 5).join(', ');
    const more = secrets.length > 5 ? ` and ${secrets.length - 5} more places` : '';
    warn(
      'note',
      `Keys or sealed secrets stand in the capture (${places}${more}). On ${foreign ? 'this other device' : 'hardware that was replaced since'} they may be refused, or be the key of another: enter them anew.`,
    );
  }
  return found;
}

/** Interfaces that the capture configures and the device does not have, and the other way round. */
function interfaceWarnings(files: readonly NamedFile[], target: RestoreTarget): string[] {
  const wanted = interfacesIn(files, target.reading);
  if (wanted.length === 0) return [];
  const there =
    target.interfaces ?? (target.files === null ? null : interfacesIn(target.files, target.reading));
  if (there === null || there.length === 0) return [];
  const lacking = wanted.filter((name) => !there.includes(physical(name)) && !there.includes(name));
  return lacking.length === 0
    ? []
    : [`Other interfaces: the capture configures ${lacking.join(', ')}, which the device does not show.`];
}

/** The interface a VLAN or an alias stands on: `eth0` of `eth0.20` and of `eth0:1`. */
function physical(name: string): string {
  return name.replace(/[.:].*$/, '');
}

function interfacesIn(files: readonly NamedFile[], reading: Reading): string[] {
  const read = readCapture(files, reading);
  const names = read.parts.flatMap(({ configuration }) =>
    configuration.objects.filter(({ kind }) => kind === 'interface').map(({ name }) => name),
  );
  return [...new Set(names)];
}

/** Texts that mark a private key, or a secret that only the device which sealed it can open. */
const SECRET =
  /-----BEGIN [A-Z0-9 ]*PRIVATE KEY-----|\b(?:encrypted|sealed|obfuscated)[-_ ]?(?:key|password|passphrase|psk|secret)\b|\bpre-?shared-?key\b|\bprivate-?key\b|\bengine-?id\b/iu;

/** Places (`file:line`) of keys and sealed secrets; never the secrets themselves. */
function boundSecrets(files: readonly NamedFile[]): string[] {
  return files.flatMap(({ name, bytes }) => {
    if (bytes.includes(0)) return [];
    const lines = new TextDecoder().decode(bytes).split('\n');
    return lines.flatMap((line, i) => (SECRET.test(line) ? [`${name}:${i + 1}`] : []));
  });
}
