import type { Command } from 'commander';
import { HandbookError, openLink, readHandbook, type Trace, type TriedAction, tryHandbook } from '#links';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';

/** `handbook check FILE | try FILE DEVICE` */
export function handbookCommand(program: Command, context: CliContext): void {
  const handbook = program.command('handbook').description('how one kind of device is operated');

  handbook
    .command('check <file>')
    .description('is the handbook sound? lists every mistake with its line and field')
    .action((file: string) => check(file, context));

  handbook
    .command('try <file> <device>')
    .description('run only the reading actions on a device, and show what each pattern matched')
    .action((file: string, device: string) => attempt(file, device, context));
}

async function check(file: string, { out, exit }: CliContext): Promise<void> {
  try {
    const { name, models } = await readHandbook(file);
    out.result(
      { file, sound: true, name, models, mistakes: [] },
      `${file} is sound: ${name}, for ${models.join(', ')}.`,
    );
  } catch (error) {
    if (!(error instanceof HandbookError)) throw error;
    const mistakes = error.mistakes.map(({ place, message }) => ({ ...place, message }));
    out.result({ file, sound: false, mistakes }, error.mistakes.map((mistake) => mistake.text).join('\n'));
    exit(ExitCode.badInput);
  }
}

async function attempt(file: string, name: string, context: CliContext): Promise<void> {
  const handbook = await readHandbook(file);
  const { store, now } = await context.workbench();
  const device = await store.devices.get(name);
  const traces: Trace[] = [];
  const link = await openLink(device, handbook, await store.devices.secrets(name), {
    now,
    pinHostKey: (fingerprint) => store.devices.pinHostKey(name, fingerprint),
    observer: (trace) => traces.push(trace),
  });
  try {
    const tried = await tryHandbook(link, traces);
    context.out.result({ device: name, file, tried }, tried.map(actionText).join('\n'));
    if (tried.some(({ error }) => error !== null)) context.exit(ExitCode.failed);
  } finally {
    await link.close();
  }
}

function actionText({ action, commands, error, understood }: TriedAction): string {
  const verdict = error === null ? `read. ${understood ?? ''}` : `FAILED. ${error}`;
  return [`${action}: ${verdict}`, ...commands.map(commandText), ''].join('\n');
}

/** The command and, below it, one line per match: the line of the output, its number, and what was read from it. */
function commandText({ command, matches, refusal }: Trace): string {
  const lines = matches.map(({ field, pattern, line, text, value }) =>
    line === null
      ? `      ${field === 'split' ? value : `-  ${field}: no line matches ${pattern}`}`
      : `  ${String(line).padStart(5)}  ${text.split('\n')[0]}  ->  ${field === 'each' ? value : `${field}=${value}`}`,
  );
  return [`  ${command}`, ...(refusal === null ? [] : [`      refused: ${refusal}`]), ...lines].join('\n');
}
