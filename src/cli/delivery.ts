import { readFile } from 'node:fs/promises';
import type { Command } from 'commander';
import { due } from '#archive';
import { TuckpointError } from '#core/errors';
import type { DeliveryAccess, Expectation } from '#store';
import type { CliContext } from './context.ts';
import { HERE, type RecurrenceOptions, recurrenceOf, recurrenceText } from './recurrence.ts';
import { table } from './table.ts';

/** `delivery token | key | list | revoke | expect | expect-nothing`: who may deliver, and when that is expected. */
export function deliveryCommand(program: Command, context: CliContext): void {
  const delivery = program
    .command('delivery')
    .description('devices that deliver their own backups: who may, and when they should');
  accessCommands(delivery, context);
  expectCommands(delivery, context);

  delivery
    .command('list [device]')
    .description('tokens and keys, and what is expected of whom; the secrets themselves are kept nowhere')
    .action(async (device: string | undefined) => {
      const { store, now } = await context.workbench();
      if (device !== undefined) await store.devices.get(device);
      const access = await store.deliveries.list(device);
      const expected = [...(await store.deliveries.expectations())]
        .filter(([name]) => device === undefined || name === device)
        .map(([name, one]) => ({ device: name, ...one, next: due(one, now(), now()).next }));
      context.out.result({ access, expected }, listText(access, expected));
    });
}

function listText(
  access: readonly DeliveryAccess[],
  expected: readonly (Expectation & { device: string; next: string | null })[],
): string {
  const doors = access.map((one) => [
    one.id,
    one.device,
    one.kind === 'token' ? 'token' : 'SSH key',
    one.addedAt,
    one.usedAt ?? 'never',
  ]);
  const waits = expected.map((one) => [
    one.device,
    recurrenceText(one),
    `${one.graceSeconds / 60} min`,
    one.next ?? 'never again',
  ]);
  return [
    doors.length === 0
      ? 'Nobody may deliver. Make a token with "tuckpoint delivery token DEVICE".'
      : table(['id', 'device', 'by', 'made', 'last used'], doors),
    waits.length === 0 ? 'No delivery is expected.' : table(['device', 'expected', 'grace', 'next'], waits),
  ].join('\n\n');
}

function accessCommands(delivery: Command, context: CliContext): void {
  delivery
    .command('token <device>')
    .description('make a token that lets one device deliver; it is shown once')
    .action(async (device: string) => {
      const { freshToken, tokenDigest } = await import('#server/intake');
      const { store, now } = await context.workbench();
      await store.devices.get(device);
      const token = freshToken();
      const { id } = await store.deliveries.allow(device, 'token', tokenDigest(token), now());
      context.out.result(
        { id, device, token },
        [
          `Token of ${device} (${id}), shown this once:`,
          '',
          `    ${token}`,
          '',
          `It is the password (any user name) or the bearer token at /deliver/NAME, and the password of the SFTP drop;`,
          `a device that takes an address only delivers to /drop/${token}/NAME.`,
          `An earlier token goes on working until you revoke it: tuckpoint delivery list ${device}`,
        ].join('\n'),
      );
    });

  delivery
    .command('key <device> <public-key-file>')
    .description('let a device sign in at the SFTP drop with this SSH key (its .pub file)')
    .action(async (device: string, file: string) => {
      const { keyDigest } = await import('#server/drop');
      const { store, now } = await context.workbench();
      await store.devices.get(device);
      const line = await readFile(file, 'utf8').catch((cause) => {
        throw new TuckpointError('cli/cannot-read', 'The file cannot be read.', { place: { file }, cause });
      });
      const { id } = await store.deliveries.allow(device, 'ssh-key', keyDigest(line), now());
      context.out.result({ id, device }, `${device} may deliver by SFTP with this key (${id}).`);
    });

  delivery
    .command('revoke <id>')
    .description('end a token or key at once')
    .action(async (id: string) => {
      const { store } = await context.workbench();
      const { device, kind } = await store.deliveries.revoke(id);
      const what = kind === 'token' ? 'Token' : 'SSH key';
      context.out.result({ revoked: id, device }, `${what} ${id} of ${device} no longer works.`);
    });
}

function expectCommands(delivery: Command, context: CliContext): void {
  delivery
    .command('expect <device> <rule>')
    .description(
      'say when a device should deliver, such as "FREQ=DAILY;BYHOUR=3;BYMINUTE=30" (RFC 5545); late is a concern',
    )
    .option('--zone <zone>', 'time zone; its wall clock decides, also when the clocks change', HERE)
    .option('--start <time>', 'local time from which it counts, such as 2026-01-01T00:00:00 (default: today)')
    .option('--grace <minutes>', 'how many minutes late is not late yet', '60')
    .action(async (device: string, rule: string, options: RecurrenceOptions & { grace: string }) => {
      const { store, now } = await context.workbench();
      await store.devices.get(device);
      const minutes = Number(options.grace);
      if (!(minutes >= 0 && minutes <= 1_000_000))
        throw new TuckpointError('cli/bad-option', `"${options.grace}" is not a number of minutes.`, {
          place: { field: '--grace' },
        });
      const { recurrence, next } = recurrenceOf(rule, options, now());
      const graceSeconds = Math.round(minutes * 60);
      await store.deliveries.expect(device, { ...recurrence, graceSeconds, setAt: now() });
      context.out.result(
        { device, ...recurrence, graceSeconds, next },
        `${device} is expected ${recurrenceText(recurrence)}, next ${next}; ${minutes} minutes later it is late.`,
      );
    });

  delivery
    .command('expect-nothing <device>')
    .description('expect no delivery of this device any more')
    .action(async (device: string) => {
      const { store } = await context.workbench();
      await store.devices.get(device);
      await store.deliveries.expectNothing(device);
      context.out.result({ device }, `Nothing is expected of ${device}.`);
    });
}
