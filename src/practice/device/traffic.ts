import { seeded } from './seeded.ts';

const STEP = 10;
const DAY = 86_400;

/**
 * Simulated octets through an interface since boot: a usual rate, a daily swing of half of it, and an unsteadiness
 * of up to 0.35 of it from step to step. Never falls: the slope stays above 0.1 of the rate.
 * `rate` in octets a second; times in seconds, `bootedAt` since 1970. No state: the same moment gives the same count.
 */
export function octetsSinceBoot(seed: string, rate: number, bootedAt: number, uptime: number): bigint {
  const phase = (t: number) => Math.sin((2 * Math.PI * t) / DAY);
  const swing = (0.5 * DAY) / (2 * Math.PI);
  const daily = swing * (phase(bootedAt + uptime) - phase(bootedAt));
  const step = Math.floor(uptime / STEP);
  const share = uptime / STEP - step;
  const at = (k: number) => (k === 0 ? 0 : 0.35 * STEP * seeded(seed, k));
  const unsteady = at(step) * (1 - share) + at(step + 1) * share;
  return BigInt(Math.max(0, Math.floor(rate * (uptime + daily + unsteady))));
}
