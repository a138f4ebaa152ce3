import { type Command, CommanderError } from 'commander';
import { buildProgram, ExitCode, exitCodeOf, terminalOutput } from '#cli';
import { TuckpointError } from '#core/errors';
import { dataFolderOf } from './data-folder.ts';
import { type OpenWorkbench, openWorkbench } from './workbench.ts';

const args = process.argv.slice(2);
const out = terminalOutput(args.includes('--json'));
let opened: Promise<OpenWorkbench> | null = null;
let exitCode: number = ExitCode.ok;

const folder = () => dataFolderOf(args, process.env);
const program = buildProgram({
  out,
  dataFolder: folder,
  workbench: () => {
    opened ??= openWorkbench(folder(), out);
    return opened;
  },
  exit: (code) => {
    exitCode = Math.max(exitCode, code);
  },
});

try {
  throwInstead(program);
  await program.parseAsync(['node', 'tuckpoint', ...args]);
} catch (error) {
  exitCode = report(error);
} finally {
  await (await (opened as Promise<OpenWorkbench> | null)?.catch(() => null))?.close();
}
process.exitCode = exitCode;

/** Has a command, and every command below it, throw what would else end the process with a code of its own. */
function throwInstead(command: Command): void {
  command.exitOverride();
  for (const below of command.commands) throwInstead(below);
}

/** One sentence for a person; with --json also one object on standard output. */
function report(error: unknown): number {
  if (error instanceof CommanderError) return error.exitCode === 0 ? ExitCode.ok : ExitCode.badInput;
  const code = exitCodeOf(error);
  if (error instanceof TuckpointError) {
    out.warn(error.text);
    if (out.json) {
      const { message, place, advice } = error;
      out.result({ error: { code: error.code, message, place: place ?? null, advice: advice ?? null } }, '');
    }
    return code;
  }
  out.warn(
    `A fault in Tuckpoint: ${error instanceof Error ? (error.stack ?? error.message) : String(error)}`,
  );
  return code;
}
