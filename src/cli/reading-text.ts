import type { Reading } from '#core/reading';
import { table } from './table.ts';

/** A reading in words: what each part of the device showed at that instant, and what could not be read. */
export function readingText(reading: Reading): string {
  const { at, uptimeSeconds, memory, processorPercent, alarms } = reading;
  const number = (value: bigint | null) => value?.toString() ?? '-';
  const interfaces = reading.interfaces.map((i) => [
    i.name,
    i.admin === i.oper ? i.oper : `set ${i.admin}, is ${i.oper}`,
    ...[i.inOctets, i.outOctets, i.inPackets, i.outPackets].map(number),
    ...[i.inErrors, i.outErrors, i.inDiscards, i.outDiscards].map(number),
  ]);
  const head = [
    'interface',
    'state',
    'octets in',
    'out',
    'packets in',
    'out',
    'errors in',
    'out',
    'discards in',
    'out',
  ];
  const lines = [
    `Reading of ${at}${uptimeSeconds === null ? '' : `, up for ${Math.floor(uptimeSeconds)} seconds`}`,
    ...(interfaces.length === 0 ? [] : [table(head, interfaces)]),
    ...(memory === null ? [] : [`memory: ${memory.freeBytes} of ${memory.totalBytes} bytes free`]),
    ...(processorPercent === null ? [] : [`processor: ${processorPercent} % in use`]),
    ...reading.loss.map(({ target, sent, lost }) => `loss towards ${target}: ${lost} of ${sent} probes`),
    ...Object.entries(reading.fields).map(([name, value]) => `${name}: ${value}`),
    ...alarms.map((alarm) => `alarm: ${alarm}`),
    ...reading.notRead.map(({ what, why }) => `not read: ${what}, ${why}`),
  ];
  return `${lines.join('\n')}\n`;
}
