import type { InterfaceReading, LossReading, Reading } from '#core/reading';
import { mayPass } from '../errors.ts';
import { type Pattern, type ReadingAction, readFields, readRows } from '../handbook/index.ts';
import type { Identity } from '../port/index.ts';
import { bytesOf, fieldValue, interfaceFrom, numberOf } from './reading-values.ts';
import type { Runner, Step } from './runner.ts';

/** What SNMP read, where the handbook asks for it. */
export type SnmpPart = Pick<
  Reading,
  'interfaces' | 'memory' | 'processorPercent' | 'uptimeSeconds' | 'fields' | 'notRead'
>;

export interface ReadingOptions {
  readonly action: ReadingAction;
  readonly runner: Runner;
  readonly limitSeconds: number;
  /** Reads by SNMP; null where the handbook does not ask for it. */
  readonly snmp: (() => Promise<SnmpPart>) | null;
}

/**
 * Takes a reading as a handbook says. A part that cannot be read is named in `notRead`; it does not stop the others. What
 * commands read takes the place of what SNMP read.
 *
 * @throws TuckpointError where the device is not there any more (`links/unreachable`, `links/closed`).
 */
export async function takeReading(options: ReadingOptions, identity: Identity, at: string): Promise<Reading> {
  const taker = new ReadingTaker(options);
  const snmp = await taker.snmp();
  return {
    at,
    boot: identity.boot,
    uptimeSeconds: identity.uptimeSeconds ?? snmp?.uptimeSeconds ?? null,
    interfaces: await taker.interfaces(snmp?.interfaces ?? []),
    memory: await taker.memory(snmp?.memory ?? null),
    processorPercent: await taker.processor(snmp?.processorPercent ?? null),
    loss: await taker.loss(),
    alarms: await taker.alarms(),
    fields: { ...snmp?.fields, ...(await taker.fields()) },
    notRead: taker.notRead,
  };
}

class ReadingTaker {
  readonly notRead: { readonly what: string; readonly why: string }[] = [];
  readonly #options: ReadingOptions;
  readonly #action: ReadingAction;

  constructor(options: ReadingOptions) {
    this.#options = options;
    this.#action = options.action;
  }

  async snmp(): Promise<SnmpPart | null> {
    const { snmp } = this.#options;
    if (snmp === null) return null;
    const part = await this.#part('SNMP', snmp, null);
    // A part that a command reads instead is not missing, whatever SNMP lacks of it.
    const byCommand = (what: string) =>
      (what === 'processor' && this.#action.processor !== undefined) ||
      (what === 'memory' && this.#action.memory !== undefined) ||
      (what === 'interfaces' && this.#action.interfaces !== undefined);
    this.notRead.push(...(part?.notRead ?? []).filter(({ what }) => !byCommand(what)));
    return part;
  }

  interfaces(without: readonly InterfaceReading[]): Promise<readonly InterfaceReading[]> {
    const step = this.#action.interfaces;
    if (step === undefined) return Promise.resolve(without);
    return this.#part(
      'interfaces',
      async () => {
        const { rows, text } = await this.#rows(step);
        if (rows.length === 0) throw this.#options.runner.unreadable('reading', 'interfaces', [text]);
        return rows.map((groups) => interfaceFrom(groups, step.bits));
      },
      without,
    );
  }

  memory(without: Reading['memory']): Promise<Reading['memory']> {
    const step = this.#action.memory;
    if (step === undefined) return Promise.resolve(without);
    return this.#part(
      'memory',
      async () => {
        const { total, free } = await this.#values(step, step.read, ['total', 'free']);
        return { totalBytes: bytesOf(total!, step.unit), freeBytes: bytesOf(free!, step.unit) };
      },
      without,
    );
  }

  processor(without: number | null): Promise<number | null> {
    const step = this.#action.processor;
    if (step === undefined) return Promise.resolve(without);
    return this.#part(
      'processor',
      async () => {
        const { used, idle } = await this.#values(step, step.read, ['used', 'idle']);
        return used === undefined ? 100 - numberOf(idle!) : numberOf(used);
      },
      without,
    );
  }

  async loss(): Promise<LossReading[]> {
    const probes: LossReading[] = [];
    for (const step of this.#action.loss) {
      const read = async () => {
        const target = await this.#options.runner.filled(step.target);
        // A ping without any answer ends with a code other than 0, and still counts its packets.
        const found = await this.#values(step, step.read, ['sent', 'lost', 'received'], true);
        const sent = numberOf(found.sent!);
        probes.push({
          target,
          sent,
          lost: found.lost === undefined ? sent - numberOf(found.received!) : numberOf(found.lost),
        });
      };
      await this.#part(`loss to ${step.target}`, read, undefined);
    }
    return probes;
  }

  alarms(): Promise<readonly string[]> {
    const step = this.#action.alarms;
    if (step === undefined) return Promise.resolve([]);
    const texts = async () =>
      (await this.#rows(step)).rows.map((groups) => Object.values(groups).join(' ').trim());
    return this.#part('alarms', texts, []);
  }

  async fields(): Promise<Record<string, string | number>> {
    const fields: Record<string, string | number> = {};
    for (const step of this.#action.fields) {
      const names = Object.keys(step.read);
      const read = async () => {
        const found = await this.#values(step, step.read, []);
        for (const name of names) {
          const text = found[name];
          if (text !== undefined) fields[name] = fieldValue(text);
          else this.notRead.push({ what: name, why: `The output of "${step.run}" does not show it.` });
        }
      };
      await this.#part(names.join(', '), read, undefined);
    }
    return fields;
  }

  /** Reads a part, or notes why it could not be read. */
  async #part<T>(what: string, read: () => Promise<T>, without: T): Promise<T> {
    try {
      return await read();
    } catch (error) {
      const { code, message } = error as Error & { code?: string };
      // One slow command is a part not read; a device that is gone is no reading at all.
      if (mayPass(error) && code !== 'links/timeout') throw error;
      this.notRead.push({ what, why: message });
      return without;
    }
  }

  /** Single values of one command. Throws where one of `need` that the handbook reads is not there. */
  async #values(
    step: Step,
    read: Readonly<Record<string, Pattern | undefined>>,
    need: readonly string[],
    evenRefused = false,
  ): Promise<Readonly<Record<string, string>>> {
    const { runner, limitSeconds } = this.#options;
    const output = await runner.run(step, { action: 'reading', limitSeconds, evenRefused });
    const { values, matches } = readFields(output.text, read);
    runner.trace('reading', step.run, output, matches);
    const lacking = need.filter((name) => read[name] !== undefined && values[name] === undefined);
    if (lacking.length > 0) throw runner.unreadable('reading', lacking.join(', '), [output.text]);
    return values;
  }

  /** A list out of one command. */
  async #rows(step: Step & { readonly each: Pattern; readonly record?: Pattern | undefined }) {
    const { runner, limitSeconds } = this.#options;
    const output = await runner.run(step, { action: 'reading', limitSeconds });
    const { rows, matches } = readRows(output.text, step.each, step.record);
    runner.trace('reading', step.run, output, matches);
    return { rows: rows.map(({ groups }) => groups), text: output.text };
  }
}
