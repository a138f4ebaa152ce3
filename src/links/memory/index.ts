/**
 * A device in memory and the link to it, for tests of what is built on links. It can fail or lose power at any call.
 * It must never stand in for a device outside of tests.
 */
export {
  MemoryDevice,
  type MemoryDeviceOptions,
  type MemoryRelease,
  type MemorySlot,
} from './device.ts';
export type { Fault, LinkCall } from './faults.ts';
export { MemoryLink } from './memory-link.ts';
