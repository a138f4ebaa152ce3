import type { BootMark } from './facts.ts';

/**
 * Has the device booted between the two looks? By its boot id where it shows one, else by an uptime that fell; a
 * handbook reads at least one of them. An uptime that has already passed the earlier one is not taken for a boot.
 */
export function bootedSince(before: BootMark | undefined, now: BootMark): boolean {
  if (before === undefined) return false;
  if (before.boot !== null && now.boot !== null) return before.boot !== now.boot;
  if (before.uptimeSeconds === null || now.uptimeSeconds === null) return false;
  return now.uptimeSeconds < before.uptimeSeconds;
}
