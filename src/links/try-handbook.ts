import { TuckpointError } from '#core/errors';
import type { Trace } from './driven/index.ts';
import type { Link } from './port/index.ts';

/** What became of one reading action. */
export interface TriedAction {
  readonly action: 'identify' | 'slots' | 'capture running' | 'capture spare' | 'reading' | 'report';
  /** Every command of it, with its output and what each pattern matched, line by line. Holds no secret. */
  readonly commands: readonly Trace[];
  /** The error it ended with; null where it was read. */
  readonly error: string | null;
  /** What was understood, in one sentence; null where it failed. */
  readonly understood: string | null;
}

/**
 * Runs the reading actions of a handbook on a device, each whether or not the others fail, and nothing that changes it. The
 * connection must have been opened with `traces.push` as its observer.
 */
export async function tryHandbook(link: Link, traces: Trace[]): Promise<readonly TriedAction[]> {
  const tried: TriedAction[] = [];
  const attempt = async (action: TriedAction['action'], read: () => Promise<string>) => {
    traces.length = 0;
    let understood: string | null = null;
    let failure: string | null = null;
    try {
      understood = await read();
    } catch (error) {
      failure = error instanceof TuckpointError ? error.text : String(error);
    }
    tried.push({ action, commands: [...traces], error: failure, understood });
  };

  await attempt('identify', async () => {
    const { model, serial, hostname, release, boot } = await link.identify();
    const bootText = boot === null ? 'no boot id' : `boot id ${boot}`;
    return `${hostname} is a ${model}, serial ${serial}, runs ${release}, ${bootText}.`;
  });
  await attempt('slots', async () => {
    const { slots, running, next } = await link.slots();
    const held = slots
      .map(({ id, release }) => `slot ${id} holds ${release ?? 'something unknown'}`)
      .join(', ');
    return `${held}; ${running} runs, ${next} boots next.`;
  });
  for (const slot of ['running', 'spare'] as const) {
    if (slot === 'spare' && !link.facts.canCaptureSpare) continue;
    await attempt(`capture ${slot}`, async () => {
      const files = await link.capture(slot);
      return `${files.length} files: ${files.map(({ name, bytes }) => `${name} (${bytes.length} bytes)`).join(', ')}.`;
    });
  }
  await attempt('reading', async () => {
    const { interfaces, memory, processorPercent, loss, alarms, fields, notRead } = await link.reading();
    const parts = [
      `${interfaces.length} interfaces`,
      memory === null ? 'no memory' : `${memory.freeBytes} of ${memory.totalBytes} bytes of memory free`,
      processorPercent === null ? 'no processor' : `processor ${processorPercent} %`,
      `${loss.length} loss targets`,
      `${alarms.length} alarms`,
      `${Object.keys(fields).length} further fields`,
    ];
    const missing = notRead.map(({ what, why }) => `${what} (${why})`).join('; ');
    return `${parts.join(', ')}${missing === '' ? '' : `; not read: ${missing}`}.`;
  });
  if (link.facts.canReport) {
    await attempt('report', async () => {
      const files = await link.report();
      return `${files.length} files: ${files.map(({ name, bytes }) => `${name} (${bytes.length} bytes)`).join(', ')}.`;
    });
  }
  return tried;
}
