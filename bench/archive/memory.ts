import { readFileSync, writeFileSync } from 'node:fs';

/** Forgets the highest resident memory so far (Linux: proc(5), clear_refs); elsewhere the peak is that of the process. */
export function forgetPeak(): void {
  try {
    writeFileSync('/proc/self/clear_refs', '5');
  } catch {
    // Not to be had here: the figures then never fall from one phase to the next.
  }
}

/** The highest resident memory since then, in MB (10^6 bytes). */
export function peakMB(): number {
  try {
    const kB = /VmHWM:\s+(\d+) kB/.exec(readFileSync('/proc/self/status', 'utf8'))?.[1];
    return Math.round((Number(kB) * 1024) / 1e6);
  } catch {
    return Math.round((process.resourceUsage().maxRSS * 1024) / 1e6);
  }
}
