import type { InterfaceReading, LinkState, LossReading, Reading } from '#core/reading';
import { mayPass } from '../errors.ts';
import { type ByteUnit, type Match, type ReadingAction, readFields, readRows } from '../handbook/index.ts';
import type { Identity } from '../port/index.ts';
import type { Runner, Step } from './runner.ts';

/** What SNMP read, where the handbook asks for it. */
export type SnmpPart = Pick<
  Reading,
  'interfaces' | 'memory' | 'processorPercent' | 'uptimeSeconds' | 'fields' | 'notRead'
>;

const UNIT_BYTES: Readonly<Record<ByteUnit, number>> = { B: 1, KiB: 1024, MiB: 1024 ** 2, GiB: 1024 ** 3 };
const COUNTERS = [
  'inOctets',
  'outOctets',
  'inPackets',
  'outPackets',
  'inErrors',
  'outErrors',
  'inDiscards',
  'outDiscards',
] as const;

/**
 * Takes a reading as the handbook says. A part that cannot be read is named in `notRead`; it does not stop the others.
 *
 * @throws TuckpointError where the device is not there any more (`links/unreachable`, `links/closed`).
 */
export async function takeReading(
  action: ReadingAction | undefined,
  identity: Identity,
  at: string,
  runner: Runner,
  limitSeconds: number,
  snmp: (() => Promise<SnmpPart>) | null,
): Promise<Reading> {
  const notRead: { what: string; why: string }[] = [];
  const part = async <T>(what: string, read: () => Promise<T>, without: T): Promise<T> => {
    try {
      return await read();
    } catch (error) {
      if (mayPass(error) && (error as { code: string }).code !== 'links/timeout') throw error;
      notRead.push({ what, why: error instanceof Error ? error.message : String(error) });
      return without;
    }
  };
  const output = async (step: Step, evenRefused = false) =>
    runner.run(step, { action: 'reading', limitSeconds, evenRefused });

  /** Reads single values of one command; throws where a wanted one is missing. */
  const values = async (
    step: Step,
    read: Parameters<typeof readFields>[1],
    need: readonly string[],
    even = false,
  ) => {
    const shown = await output(step, even);
    const found = readFields(shown.text, read);
    runner.trace('reading', step.run, shown, found.matches);
    const lacking = need.filter((name) => read[name] !== undefined && found.values[name] === undefined);
    if (lacking.length > 0) throw runner.unreadable('reading', lacking.join(', '), [shown.text]);
    return found.values;
  };
  const rows = async (
    step: Step & {
      each: Parameters<typeof readRows>[1];
      record?: Parameters<typeof readRows>[2] | undefined;
    },
  ) => {
    const shown = await output(step);
    const found = readRows(shown.text, step.each, step.record);
    runner.trace('reading', step.run, shown, found.matches as Match[]);
    return { rows: found.rows, text: shown.text };
  };

  const bySnmp = snmp === null ? null : await part('SNMP', snmp, null);
  notRead.push(...(bySnmp?.notRead ?? []));

  let interfaces: readonly InterfaceReading[] = bySnmp?.interfaces ?? [];
  const byCommand = action?.interfaces;
  if (byCommand !== undefined) {
    interfaces = await part(
      'interfaces',
      async () => {
        const found = await rows(byCommand);
        if (found.rows.length === 0) throw runner.unreadable('reading', 'interfaces', [found.text]);
        return found.rows.map(({ groups }) => interfaceFrom(groups, byCommand.bits));
      },
      interfaces,
    );
  }

  let memory = bySnmp?.memory ?? null;
  const memoryStep = action?.memory;
  if (memoryStep !== undefined) {
    memory = await part(
      'memory',
      async () => {
        const found = await values(memoryStep, memoryStep.read, ['total', 'free']);
        const bytes = (text: string) => number(text, 'memory') * UNIT_BYTES[memoryStep.unit];
        return { totalBytes: bytes(found.total!), freeBytes: bytes(found.free!) };
      },
      memory,
    );
  }

  let processorPercent = bySnmp?.processorPercent ?? null;
  const processorStep = action?.processor;
  if (processorStep !== undefined) {
    processorPercent = await part(
      'processor',
      async () => {
        const found = await values(processorStep, processorStep.read, ['used', 'idle']);
        return found.used === undefined
          ? 100 - number(found.idle!, 'processor')
          : number(found.used, 'processor');
      },
      processorPercent,
    );
  }

  const loss: LossReading[] = [];
  for (const probe of action?.loss ?? []) {
    await part(
      `loss to ${probe.target}`,
      async () => {
        const target = await runner.filled(probe.target);
        const found = await values(probe, probe.read, ['sent', 'lost', 'received'], true);
        const sent = number(found.sent!, 'sent');
        const lost =
          found.lost === undefined ? sent - number(found.received!, 'received') : number(found.lost, 'lost');
        loss.push({ target, sent, lost });
      },
      undefined,
    );
  }

  const alarmStep = action?.alarms;
  const alarms =
    alarmStep === undefined
      ? []
      : await part(
          'alarms',
          async () =>
            (await rows(alarmStep)).rows.map(({ groups }) => Object.values(groups).join(' ').trim()),
          [],
        );

  const fields: Record<string, string | number> = { ...bySnmp?.fields };
  for (const step of action?.fields ?? []) {
    await part(
      Object.keys(step.read).join(', '),
      async () => {
        const found = await values(step, step.read, []);
        for (const [name, text] of Object.entries(found))
          fields[name] = /^-?\d+(?:\.\d+)?$/u.test(text) ? Number(text) : text;
        for (const name of Object.keys(step.read))
          if (found[name] === undefined)
            notRead.push({ what: name, why: `The output of "${step.run}" does not show it.` });
      },
      undefined,
    );
  }

  return {
    at,
    boot: identity.boot,
    uptimeSeconds: identity.uptimeSeconds ?? bySnmp?.uptimeSeconds ?? null,
    interfaces,
    memory,
    processorPercent,
    loss,
    alarms,
    fields,
    notRead,
  };
}

/** An interface of the groups that a handbook names; a counter that is not there is null. */
export function interfaceFrom(groups: Readonly<Record<string, string>>, bits: 32 | 64): InterfaceReading {
  const counters = Object.fromEntries(
    COUNTERS.map((name) => [
      name,
      /^\d+$/u.test(groups[name]?.trim() ?? '') ? BigInt(groups[name]!.trim()) : null,
    ]),
  ) as Record<(typeof COUNTERS)[number], bigint | null>;
  return {
    name: groups.name!.trim(),
    admin: state(groups.admin),
    oper: state(groups.oper),
    counterBits: bits,
    ...counters,
  };
}

function state(text: string | undefined): LinkState {
  const word = text?.trim().toLowerCase();
  return word === 'up' || word === 'down' ? word : 'unknown';
}

function number(text: string, what: string): number {
  const value = Number(text);
  if (text.trim() !== '' && Number.isFinite(value)) return value;
  throw new Error(`"${text}" is no number (${what}).`);
}
