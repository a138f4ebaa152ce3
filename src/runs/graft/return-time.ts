import type { DeviceFacts } from '#links/port';

/** Orders and looks between arming the return and disarming it, each with its limit; the readings among them. */
const ORDERS = 9;
/** What the readings after a change wait between them. */
const SETTLING_SECONDS = 12;

/** How long a device must wait for the workbench: applying, a restart where one is needed, and all checks. In seconds. */
export function returnSeconds({ limits }: Pick<DeviceFacts, 'limits'>, restart: boolean): number {
  const boot = restart ? limits.bootSeconds + limits.commandSeconds : 0;
  return Math.ceil(ORDERS * limits.commandSeconds + SETTLING_SECONDS + boot);
}

/** How long to wait at most until a device that went silent has returned and answers again. In seconds. */
export function silenceSeconds(facts: Pick<DeviceFacts, 'limits'>, restart: boolean): number {
  return returnSeconds(facts, restart) + facts.limits.bootSeconds + facts.limits.commandSeconds;
}
