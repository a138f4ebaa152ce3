import { text } from './interfaces.ts';
import type { SnmpTable } from './session.ts';

/** HOST-RESOURCES-MIB (RFC 2790). */
export const STORAGE_ENTRY = '1.3.6.1.2.1.25.2.3.1';
export const STORAGE_COLUMNS: readonly number[] = [2, 3, 4, 5, 6];
const STORAGE = { type: 2, descr: 3, units: 4, size: 5, used: 6 } as const;
const RAM = '1.3.6.1.2.1.25.2.1.2';
export const PROCESSOR_ENTRY = '1.3.6.1.2.1.25.3.3.1';
export const PROCESSOR_COLUMNS: readonly number[] = [2];
/** ENTITY-MIB (RFC 6933). */
export const ENTITY_ENTRY = '1.3.6.1.2.1.47.1.1.1.1';
export const ENTITY_COLUMNS: readonly number[] = [5, 10, 11, 13];
const ENTITY = { class: 5, softwareRevision: 10, serialNumber: 11, modelName: 13 } as const;
const CHASSIS = 3n;

/**
 * Main memory: the largest storage of type hrStorageRam. What net-snmp calls "Available memory" (an entry of its own, which
 * counts what caches would give back) is preferred as free memory where it is shown.
 */
export function memoryFrom(storage: SnmpTable): { totalBytes: number; freeBytes: number } | null {
  let memory: { totalBytes: number; freeBytes: number } | null = null;
  let available: number | null = null;
  for (const row of storage.values()) {
    const units = row.get(STORAGE.units);
    const size = row.get(STORAGE.size);
    const used = row.get(STORAGE.used);
    if (typeof units !== 'bigint' || typeof size !== 'bigint' || typeof used !== 'bigint') continue;
    const totalBytes = Number(units * unsigned(size));
    const freeBytes = Number(units * (unsigned(size) - unsigned(used)));
    if (text(row.get(STORAGE.descr)) === 'Available memory') available = freeBytes;
    else if (row.get(STORAGE.type) === RAM && (memory === null || memory.totalBytes < totalBytes))
      memory = { totalBytes, freeBytes };
  }
  if (memory === null || available === null || available > memory.totalBytes) return memory;
  return { totalBytes: memory.totalBytes, freeBytes: available };
}

/** hrStorageSize is an Integer32; agents with more units than it holds let it go negative. */
const unsigned = (value: bigint) => BigInt.asUintN(32, value);

/** Mean of hrProcessorLoad (percent of the last minute) over all processors; null where there is none. */
export function processorFrom(processors: SnmpTable): number | null {
  const loads = [...processors.values()].map((row) => row.get(2)).filter((load) => typeof load === 'bigint');
  if (loads.length === 0) return null;
  return Number(loads.reduce((sum, load) => sum + load, 0n)) / loads.length;
}

/** What the chassis says of itself, as reading fields; blank values are left out. */
export function entityFields(entities: SnmpTable): Record<string, string> {
  const fields: Record<string, string> = {};
  for (const row of entities.values()) {
    if (row.get(ENTITY.class) !== CHASSIS) continue;
    for (const name of ['modelName', 'serialNumber', 'softwareRevision'] as const) {
      const value = text(row.get(ENTITY[name]));
      if (value !== '') fields[`entity.${name}`] ??= value;
    }
  }
  return fields;
}
