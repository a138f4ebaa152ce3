/**
 * Practice devices: the invented estate Brackwater Line, simulated in one process and reached over real SSH, and the
 * maker of practice images. Everything here says of itself that it is simulated. It must never know how Tuckpoint
 * talks to a device: the links and handbooks treat these as any other.
 */

export type { DeviceFault, ReleaseFault } from './device/fault.ts';
export type { Instant, Operation } from './device/operations.ts';
export type { ShownSlot } from './device/practice-device.ts';
export type { DeviceControl } from './device-control.ts';
export type { EstateDevice } from './estate/devices.ts';
export { type Estate, estate } from './estate/estate.ts';
export type { PracticeModel } from './estate/models.ts';
export { makePracticeImage, type PracticeImage, type PracticeImageOptions } from './image/make.ts';
export { makerPublicKey } from './image/signing.ts';
export { type Practice, type PracticeOptions, startPractice } from './start.ts';
export type { PracticeAccess } from './start-device.ts';
