import { Command } from 'commander';
import { stayLean } from '#archive';
import { archiveCommand } from './archive.ts';
import { captureCommand } from './capture.ts';
import type { CliContext } from './context.ts';
import { deliveryCommand } from './delivery.ts';
import { deviceCommand } from './device.ts';
import { diffCommand } from './diff.ts';
import { driftCommand } from './drift.ts';
import { graftCommand } from './graft.ts';
import { handbookCommand } from './handbook.ts';
import { historyCommand } from './history.ts';
import { practiceCommand } from './practice.ts';
import { promisesCommand } from './promises.ts';
import { reviewCommand } from './review.ts';
import { roundCommands } from './round.ts';
import { runCommands } from './run-commands.ts';
import { runsCommands } from './runs.ts';
import { scheduleCommand } from './schedule.ts';
import { serveCommand } from './serve.ts';
import { slotsCommand } from './slots.ts';
import { trafficCommand } from './traffic.ts';

/** These go through much of the archive, or run for long: they are to need little memory whatever it holds. */
const LEAN = new Set(['archive', 'capture', 'history', 'round', 'serve']);

/** Global options stand before or after the command: --data FOLDER and --json. */
export function buildProgram(context: CliContext): Command {
  const program = new Command('tuckpoint')
    .description('Keeps firewalls maintained: firmware, configurations, and the way back.')
    .option('--data <folder>', 'data folder (default: the XDG data home)')
    .option('--json', 'print JSON instead of text')
    .showHelpAfterError('Run with --help to see what it takes.')
    .hook('preSubcommand', (_, command) => {
      if (LEAN.has(command.name())) stayLean();
    });
  program.commandsGroup('Devices and what they hold:');
  deviceCommand(program, context);
  handbookCommand(program, context);
  slotsCommand(program, context);
  program.commandsGroup('Runs:');
  runCommands(program, context);
  runsCommands(program, context);
  program.commandsGroup('The archive:');
  captureCommand(program, context);
  archiveCommand(program, context);
  historyCommand(program, context);
  deliveryCommand(program, context);
  program.commandsGroup('Configurations and traffic:');
  diffCommand(program, context);
  trafficCommand(program, context);
  reviewCommand(program, context);
  promisesCommand(program, context);
  graftCommand(program, context);
  driftCommand(program, context);
  program.commandsGroup('The estate, day by day:');
  roundCommands(program, context);
  scheduleCommand(program, context);
  serveCommand(program, context);
  program.commandsGroup('To try things:');
  practiceCommand(program, context);
  return program;
}
