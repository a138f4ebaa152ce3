import type { Reading } from '#core/reading';
import type { SnmpAccess } from './access.ts';
import {
  ENTITY_COLUMNS,
  ENTITY_ENTRY,
  entityFields,
  memoryFrom,
  PROCESSOR_COLUMNS,
  PROCESSOR_ENTRY,
  processorFrom,
  STORAGE_COLUMNS,
  STORAGE_ENTRY,
} from './host.ts';
import { IF_COLUMNS, IF_ENTRY, IFX_COLUMNS, IFX_ENTRY, interfacesFrom } from './interfaces.ts';
import { openSnmp } from './session.ts';

/** SNMPv2-MIB sysUpTime: hundredths of a second since the agent started, which a boot does too. */
const SYS_UP_TIME = '1.3.6.1.2.1.1.3.0';

/** The part of a reading that SNMP gives. */
export type SnmpReading = Pick<
  Reading,
  'interfaces' | 'memory' | 'processorPercent' | 'uptimeSeconds' | 'fields' | 'notRead'
>;

/**
 * Reads uptime, interfaces, memory, processor and chassis. What the agent does not have is named in `notRead`.
 *
 * @throws TuckpointError `links/timeout`, `links/auth`, `links/refused` where the agent does not answer.
 */
export async function readSnmp(
  address: string,
  access: SnmpAccess,
  timeoutSeconds: number,
): Promise<SnmpReading> {
  const session = openSnmp(address, access, timeoutSeconds);
  const notRead: { what: string; why: string }[] = [];
  const lacks = (what: string, mib: string) => notRead.push({ what, why: `The SNMP agent shows no ${mib}.` });
  try {
    const upTime = await session.get(SYS_UP_TIME);
    const ifTable = await session.table(IF_ENTRY, IF_COLUMNS);
    const interfaces = interfacesFrom(ifTable, await session.table(IFX_ENTRY, IFX_COLUMNS));
    const memory = memoryFrom(await session.table(STORAGE_ENTRY, STORAGE_COLUMNS));
    const processorPercent = processorFrom(await session.table(PROCESSOR_ENTRY, PROCESSOR_COLUMNS));
    const fields = entityFields(await session.table(ENTITY_ENTRY, ENTITY_COLUMNS));
    if (interfaces.length === 0) lacks('interfaces', 'IF-MIB');
    for (const [what, packets] of [
      ['packets in', 'inPackets'],
      ['packets out', 'outPackets'],
    ] as const) {
      const without = interfaces.filter((one) => one[packets] === null).map(({ name }) => name);
      if (without.length > 0)
        notRead.push({ what, why: `The SNMP agent does not count them on ${without.join(', ')}.` });
    }
    if (memory === null) lacks('memory', 'HOST-RESOURCES-MIB (hrStorageRam)');
    if (processorPercent === null) lacks('processor', 'HOST-RESOURCES-MIB (hrProcessorLoad)');
    return {
      uptimeSeconds: typeof upTime === 'bigint' ? Number(upTime / 100n) : null,
      interfaces,
      memory,
      processorPercent,
      fields,
      notRead,
    };
  } finally {
    session.close();
  }
}
