import { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { describeLab, labAsData } from './describe.ts';
import { labError } from './errors.ts';
import { makeFault } from './faults.ts';
import type { Gateway } from './gateway.ts';
import { parseImageFault } from './images/fault.ts';
import { writeImage } from './images/image.ts';
import { openLab, startLab, stopLab } from './lab.ts';
import { requireLab } from './requirements.ts';
import { DEFAULT_DIR } from './state.ts';

const program = new Command('npm run lab --').description(
  'Real gateways in Linux network namespaces (root only).',
);
program.option('--dir <folder>', 'folder the lab lives in', DEFAULT_DIR);

const dir = () => program.opts<{ dir: string }>().dir;
const say = (text: string) => process.stdout.write(text.endsWith('\n') ? text : `${text}\n`);

function whole(text: string, what: string): number {
  if (/^\d+$/u.test(text)) return Number(text);
  throw labError('lab/input', `${what} is a whole number, not "${text}".`);
}

function gatewayNumbered(text: string): Gateway {
  requireLab();
  const { gateways } = openLab(dir());
  const gateway = gateways[whole(text, 'A gateway') - 1];
  if (gateway === undefined)
    throw labError(
      'lab/input',
      `There is no gateway ${text}; this lab has ${gateways.length}, counted from 1.`,
    );
  return gateway;
}

program
  .command('up')
  .description('start gateways and say how to reach them')
  .argument('[count]', 'how many', '1')
  .option(
    '--watchdog <seconds>',
    'the boot loader boots the other slot after so long without a well boot',
    '0',
  )
  .option('--disk <MiB>', 'size of each disk', '16')
  .option('--json', 'as JSON')
  .action(async (count: string, options: { watchdog: string; disk: string; json?: true }) => {
    const lab = await startLab({
      count: whole(count, 'The count of gateways'),
      dir: dir(),
      watchdogSeconds: whole(options.watchdog, '--watchdog'),
      diskMebibytes: whole(options.disk, '--disk'),
    });
    say(options.json ? JSON.stringify(labAsData(lab), null, 2) : describeLab(lab));
  });

program
  .command('status')
  .description('say how the gateways are and how to reach them')
  .option('--json', 'as JSON')
  .action((options: { json?: true }) => {
    requireLab();
    const lab = openLab(dir());
    say(options.json ? JSON.stringify(labAsData(lab), null, 2) : describeLab(lab));
  });

program
  .command('down')
  .description('end the lab and remove what it made')
  .action(async () => {
    requireLab();
    await stopLab(dir());
    say(`The lab in ${dir()} is gone.`);
  });

program
  .command('power-cycle')
  .description('power off and on; the boot loader passes over a slot whose last boot was not well')
  .argument('<gateway>')
  .action(async (number: string) => {
    const gateway = gatewayNumbered(number);
    await gateway.powerCycle();
    say(`${gateway.reach.hostname} boots for the ${gateway.bootCount}. time.`);
  });

program
  .command('power-off')
  .description('power loss: all that runs in the gateway dies at once')
  .argument('<gateway>')
  .action(async (number: string) => {
    const gateway = gatewayNumbered(number);
    await gateway.powerOff();
    say(`${gateway.reach.hostname} is off.`);
  });

program
  .command('power-on')
  .argument('<gateway>')
  .action(async (number: string) => {
    const gateway = gatewayNumbered(number);
    await gateway.powerOn();
    say(`${gateway.reach.hostname} boots.`);
  });

program
  .command('fault')
  .description('make a fault: disk-full, disk-free, loss=12, interface-down=dmz, unplugged, plugged, none')
  .argument('<gateway>')
  .argument('<fault>')
  .action(async (number: string, fault: string) => {
    const gateway = gatewayNumbered(number);
    await makeFault(gateway, fault);
    say(`${gateway.reach.hostname}: ${fault}.`);
  });

interface ImageOptions {
  readonly fault?: string;
  readonly migrates?: true;
  readonly from: string;
  readonly model: string[];
  readonly size: string;
}

program
  .command('image')
  .description('make a firmware file and, beside it, its release sheet OUT.sheet.yaml')
  .argument('<version>', 'such as 4.3.0')
  .argument('<out>', 'file to write')
  .option(
    '--fault <fault>',
    'does-not-boot, interface-down[=LEG], packet-loss=PERCENT, rewrites-configuration, less-memory, wrong-model, bad-signature, tampered, truncated',
  )
  .option('--migrates', 'its first boot changes one setting of the configuration, soundly')
  .option('--from <version>', 'least release to come from', '4.0.0')
  .option('--model <model...>', 'models it fits', ['Groyne 40'])
  .option('--size <KiB>', 'size of the payload', '256')
  .action(async (version: string, out: string, options: ImageOptions) => {
    const image = await writeImage(out, {
      version,
      from: options.from,
      models: options.model,
      fault: options.fault === undefined ? undefined : parseImageFault(options.fault),
      migrates: options.migrates ?? false,
      payloadBytes: whole(options.size, '--size') * 1024,
    });
    say(`${image.path}  ${image.size} bytes  sha256 ${image.sha256}\n${image.sheet}`);
  });

try {
  await program.parseAsync();
} catch (error) {
  if (!(error instanceof TuckpointError)) throw error;
  process.stderr.write(`${error.text}\n`);
  process.exitCode = 1;
}
