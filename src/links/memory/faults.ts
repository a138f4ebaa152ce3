import { type LinkErrorCode, linkError } from '../errors.ts';
import type { Link } from '../port/index.ts';

export type LinkCall = Exclude<keyof Link, 'facts'>;

/** Something that goes wrong at a call, before or after the call took effect. */
export interface Fault {
  readonly call: LinkCall;
  /** The call of that name at which it happens; the first is 1. */
  readonly nth?: number;
  readonly when: 'before' | 'after';
  /** `power-loss`: the device boots what is due next and the link breaks. Otherwise: the call throws this code. */
  readonly what: 'power-loss' | LinkErrorCode;
}

/** Faults that are to come, and the calls that were made. */
export class FaultPlan {
  readonly calls: LinkCall[] = [];
  #faults: Fault[] = [];

  /** Each fault happens once. `nth` counts from now. */
  add(...faults: readonly Fault[]): void {
    this.#faults.push(
      ...faults.map((fault) => ({
        ...fault,
        nth: (fault.nth ?? 1) + this.calls.filter((call) => call === fault.call).length,
      })),
    );
  }

  /** Faults that have not happened yet. */
  get waiting(): number {
    return this.#faults.length;
  }

  clear(): void {
    this.#faults = [];
  }

  /** Makes the fault of this moment happen, if there is one. */
  meet(call: LinkCall, when: 'before' | 'after', losePower: () => void): void {
    if (when === 'before') this.calls.push(call);
    const count = this.calls.filter((one) => one === call).length;
    const fault = this.#faults.find((one) => one.call === call && one.when === when && one.nth === count);
    if (fault === undefined) return;
    this.#faults = this.#faults.filter((one) => one !== fault);
    if (fault.what === 'power-loss') {
      losePower();
      throw linkError('links/closed', `The device ended the connection during "${call}".`);
    }
    throw linkError(fault.what, `A fault was chosen: ${fault.what} ${when} "${call}".`);
  }
}
