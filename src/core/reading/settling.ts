import type { Reading } from './reading.ts';

/** How long after a boot a busy or unreported processor proves nothing. Common practice, no source. */
export const SETTLING_SECONDS = 600;

export function justBooted({ uptimeSeconds }: Reading): boolean {
  return uptimeSeconds !== null && uptimeSeconds < SETTLING_SECONDS;
}
