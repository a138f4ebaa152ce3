/** What a release can do wrong. An image carries at most one. */
export type ReleaseFault =
  | { readonly kind: 'does-not-boot' }
  /** Without a name: the first interface that is not the one for upkeep. */
  | { readonly kind: 'interface-down'; readonly interface?: string }
  | { readonly kind: 'packet-loss'; readonly percent: number }
  | { readonly kind: 'rewrites-configuration-wrongly' }
  /** The share of the usually free memory that is gone. */
  | { readonly kind: 'less-memory'; readonly percent: number };

/** What a device can do wrong by itself, whatever release it runs. */
export type DeviceFault =
  | ReleaseFault
  /** Files stop travelling after so many bytes; the session stays open and says nothing. */
  | { readonly kind: 'hangs-in-transfer'; readonly afterBytes: number }
  | { readonly kind: 'disk-full' };

/** Every kind of device fault, for messages. */
export const faultKinds = [
  'does-not-boot',
  'interface-down',
  'packet-loss',
  'rewrites-configuration-wrongly',
  'less-memory',
  'hangs-in-transfer',
  'disk-full',
] as const satisfies readonly DeviceFault['kind'][];

/** Reads `KIND [VALUE]` as typed in the device's shell, or null when it is none. */
export function faultFrom(kind: string, value: string | undefined): DeviceFault | null {
  const number = value === undefined ? undefined : Number(value);
  if (number !== undefined && kind !== 'interface-down' && !(number >= 0)) return null;
  switch (kind) {
    case 'does-not-boot':
    case 'rewrites-configuration-wrongly':
    case 'disk-full':
      return { kind };
    case 'interface-down':
      return value === undefined ? { kind } : { kind, interface: value };
    case 'packet-loss':
      return { kind, percent: Math.min(number ?? 20, 100) };
    case 'less-memory':
      return { kind, percent: Math.min(number ?? 70, 100) };
    case 'hangs-in-transfer':
      return { kind, afterBytes: number ?? 65_536 };
    default:
      return null;
  }
}
