import { readFileSync } from 'node:fs';
import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import { onlyDelivers } from '#store';
import type { CliContext } from './context.ts';
import { table } from './table.ts';

interface AddOptions {
  site: string;
  handbook?: string;
  address?: string;
  port: string;
  user?: string;
  onlyDelivers?: boolean;
  keyFile?: string;
  secret?: string[];
  own?: string[];
}

/** `device add | list | remove | forget-host-key` */
export function deviceCommand(program: Command, context: CliContext): void {
  const device = program.command('device').description('the devices in your care');

  device
    .command('add <name>')
    .description('add a device, or change the one of that name')
    .option('--handbook <file>', 'handbook file, or the name of one that ships with Tuckpoint')
    .option('--address <address>', 'management address or host name')
    .option('--user <user>', 'login user')
    .option(
      '--only-delivers',
      'never reach it; it delivers its own backups (then none of the three is needed)',
    )
    .option('--port <port>', 'SSH port', '22')
    .option('--site <site>', 'site', 'unsited')
    .option('--key-file <file>', 'private key for the login (kept sealed)')
    .option(
      '--secret <name=file...>',
      'a further secret, read from a file: password, passphrase, snmpCommunity, snmpUser, …',
    )
    .option('--own <name=value...>', 'a value of this device that its handbook names as {own.NAME}')
    .action(async (name: string, options: AddOptions) => {
      const bench = await context.workbench();
      const secrets: Record<string, string> = {};
      if (options.keyFile !== undefined) secrets.privateKey = readSecret(options.keyFile);
      for (const pair of options.secret ?? []) {
        const [key, file] = split(pair, '--secret');
        secrets[key] = readSecret(file).replace(/\r?\n$/, '');
      }
      const own = Object.fromEntries((options.own ?? []).map((pair) => split(pair, '--own')));
      const { site } = options;
      const { handbook, address, user } = wayOf(options);
      const port = portOf(options.port);
      await bench.store.devices.put({ name, site, handbook, address, port, user, own, secrets }, bench.now());
      context.out.result({ added: name }, `${name} is in your care.`);
    });

  device
    .command('list')
    .description('list the devices')
    .action(async () => {
      const bench = await context.workbench();
      const devices = await bench.store.devices.list();
      const rows = devices.map((d) => [
        d.name,
        d.site,
        onlyDelivers(d) ? '-' : `${d.address}:${d.port}`,
        onlyDelivers(d) ? 'only delivers' : d.handbook,
        onlyDelivers(d) ? '-' : (d.hostKey ?? 'not yet seen'),
      ]);
      context.out.result(
        devices,
        devices.length === 0
          ? 'No device is in your care yet: add one with "tuckpoint device add".'
          : table(['device', 'site', 'address', 'handbook', 'host key'], rows),
      );
    });

  device
    .command('remove <name>')
    .description('remove a device from your care; its captures stay in the archive')
    .action(async (name: string) => {
      const bench = await context.workbench();
      await bench.store.devices.remove(name);
      context.out.result(
        { removed: name },
        `${name} is no longer in your care. Its captures stay in the archive.`,
      );
    });

  device
    .command('forget-host-key <name>')
    .description('forget the pinned host key, after you made sure by another way why it changed')
    .action(async (name: string) => {
      const bench = await context.workbench();
      await bench.store.devices.get(name);
      await bench.store.devices.pinHostKey(name, null);
      context.out.result(
        { forgotten: name },
        `The next connection to ${name} pins the host key it then shows.`,
      );
    });
}

/** How the device is reached; all empty for one that only delivers. */
function wayOf({ handbook = '', address = '', user = '', onlyDelivers = false }: AddOptions) {
  const given = { '--handbook': handbook, '--address': address, '--user': user };
  for (const [field, value] of Object.entries(given)) {
    if (onlyDelivers === (value === '')) continue;
    throw new TuckpointError(
      'cli/bad-option',
      onlyDelivers ? `A device that only delivers has no ${field}.` : `${field} is missing.`,
      { place: { field }, advice: 'Give --handbook, --address and --user, or --only-delivers.' },
    );
  }
  return { handbook, address, user };
}

function split(pair: string, field: string): [string, string] {
  const at = pair.indexOf('=');
  if (at < 1) {
    throw new TuckpointError(
      'cli/bad-option',
      `"${pair}" is not NAME=${field === '--own' ? 'VALUE' : 'FILE'}.`,
      {
        place: { field },
      },
    );
  }
  return [pair.slice(0, at), pair.slice(at + 1)];
}

function readSecret(file: string): string {
  try {
    return readFileSync(file, 'utf8');
  } catch (cause) {
    throw new TuckpointError('cli/cannot-read', 'The file cannot be read.', { place: { file }, cause });
  }
}

function portOf(text: string): number {
  const port = Number(text);
  if (Number.isInteger(port) && port > 0 && port < 65536) return port;
  throw new TuckpointError('cli/bad-option', `"${text}" is not a port (1 to 65535).`, {
    place: { field: '--port' },
  });
}
