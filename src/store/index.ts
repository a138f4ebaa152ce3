/**
 * The database: what Tuckpoint knows between two calls. Devices, runs and their journal, leases, readings, slots.
 * It must never hold a secret in clear, nor know how a device is reached or what a run does.
 */
export type { DeviceRecord, NewDevice } from './devices.ts';
export type { JournalEntry, RunRecord, RunState, StepState } from './journal.ts';
export type { Lease } from './leases.ts';
export type { Sighting } from './observations.ts';
export type { Sealer } from './sealer.ts';
export { openStore, type Store } from './store.ts';
