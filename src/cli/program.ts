import { Command } from 'commander';
import type { CliContext } from './context.ts';
import { deviceCommand } from './device.ts';

/** Global options stand before or after the command: --data FOLDER and --json. */
export function buildProgram(context: CliContext): Command {
  const program = new Command('tuckpoint')
    .description('Keeps firewalls maintained: firmware, configurations, and the way back.')
    .option('--data <folder>', 'data folder (default: the XDG data home)')
    .option('--json', 'print JSON instead of text')
    .showHelpAfterError('Run with --help to see what it takes.');
  deviceCommand(program, context);
  return program;
}
