/**
 * The database: what Tuckpoint knows between two calls. Devices, runs and their journal, leases, readings, slots,
 * who may deliver, and what comes round when.
 * It must never hold a secret in clear, nor know how a device is reached or what a run does.
 */
export type { DeliveryAccess, Expectation } from './deliveries.ts';
export { type DeviceRecord, type NewDevice, onlyDelivers } from './devices.ts';
export type { JournalEntry, RunRecord, RunState, StepState } from './journal.ts';
export type { Lease } from './leases.ts';
export type { Sighting } from './observations.ts';
export type { PlannedFile } from './planned-files.ts';
export type { Schedule } from './schedules.ts';
export type { Sealer } from './sealer.ts';
export { openStore, type Store } from './store.ts';
