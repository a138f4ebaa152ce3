import type { Files } from '../disk/content.ts';
import type { EstateDevice } from '../estate/devices.ts';
import { policyOf } from './policy.ts';
import { systemOf } from './system.ts';

/** The names every configuration of a practice device has. */
export const POLICY = 'policy.nft';
export const SYSTEM = 'system.conf';
const NOTICE = 'notice.txt';

/** The configuration a device starts with: `newer` in the running slot, `older` in the spare. */
export function configurationOf(device: EstateDevice, release: string, age: 'newer' | 'older'): Files {
  const notice = `${device.name}, ${device.site}, Brackwater Line. Invented, for practice.\nOnly those who keep it come in.\n`;
  return new Map([
    [POLICY, Buffer.from(policyOf(device, release, age))],
    [SYSTEM, Buffer.from(systemOf(device, age))],
    [NOTICE, Buffer.from(notice)],
  ]);
}
