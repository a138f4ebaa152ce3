/**
 * The Link port: what a way to one device must be able to do, and nothing about how.
 * The contract suite beside it is run by every implementation.
 */

export { type ContractCheck, type ContractWorld, linkContract } from './contract.ts';
export type {
  BootChoice,
  DeviceFacts,
  Identity,
  Link,
  NamedFile,
  ObservedSlot,
  ObservedSlots,
  Progress,
  ReleaseFile,
  RemoteFile,
} from './link.ts';
