import { writeFile } from 'node:fs/promises';
import path from 'node:path';
import type { Command } from 'commander';
import {
  addUnlock,
  insideOf,
  makeRecoveryKey,
  openArchive,
  rewrapArchive,
  rotateKey,
  type Way,
} from '#archive';
import { TuckpointError } from '#core/errors';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { passphraseFrom } from './passphrase.ts';

function sheet(identity: string, folder: string, made: string): string {
  return [
    'RECOVERY KEY',
    '',
    `For the archive and the secrets in ${folder}, made ${made}.`,
    'Whoever has this line can open all of it. Keep it on paper, in another place than the workbench.',
    '',
    `    ${identity}`,
    '',
    'To use it: set TUCKPOINT_KEY to this line, then start as usual.',
    'Without Tuckpoint: write the line into a file "recovery"; then',
    '    age -d -i recovery keys/recovery.age > identity',
    '    age -d -i identity CAPTURE.tar.zst.age | zstd -d | tar -x',
    '',
  ].join('\n');
}

interface WayOptions {
  passphrase?: boolean;
  passphraseFile?: string;
  to?: string;
  name: string;
}

async function wayOf({ passphrase, passphraseFile, to, name }: WayOptions): Promise<Way> {
  const word = passphrase === true || passphraseFile !== undefined;
  if (word === (to !== undefined))
    throw new TuckpointError('cli/bad-option', 'Give --passphrase or --to RECIPIENT, and not both.');
  if (to === undefined) return { passphrase: await passphraseFrom(passphraseFile, 'New passphrase: ') };
  if (!/^[a-z][a-z0-9-]{0,30}$/.test(name) || TAKEN.includes(name))
    throw new TuckpointError('cli/bad-option', `A recipient cannot be called "${name}".`, {
      place: { field: '--name' },
      advice: 'Choose small letters, digits and hyphens.',
    });
  return { recipient: to, name };
}

/** Names of ways that mean something already. */
const TAKEN = ['passphrase', 'key-file', 'recovery', 'data', 'next', 'older'];

/** `archive recovery-key | add-way | rotate` */
export function archiveKeyCommands(archive: Command, context: CliContext): void {
  archive
    .command('recovery-key')
    .description('make a recovery key to print; one made before no longer opens')
    .option('--output <file>', 'write it to this file instead of the terminal (a printer, a memory stick)')
    .action(async (options: { output?: string }) => {
      const bench = await context.workbench();
      const text = sheet(
        await makeRecoveryKey(bench.folder, insideOf(bench.archive).key),
        bench.folder,
        bench.now(),
      );
      if (options.output === undefined) return context.out.result({ sheet: text }, text);
      const file = options.output;
      await writeFile(file, text, { mode: 0o600 }).catch((cause) => {
        throw new TuckpointError('cli/not-written', 'The file cannot be written.', {
          place: { file },
          cause,
        });
      });
      context.out.result({ file }, `Written to ${file}. Print it, then remove the file.`);
    });

  archive
    .command('add-way')
    .description(
      'add a further way to unlock the key: a passphrase, or an age recipient whose identity another keeps',
    )
    .option('--passphrase', 'ask for a passphrase; one there was no longer opens')
    .option('--passphrase-file <file>', 'the passphrase is the first line of this file')
    .option('--to <recipient>', 'an age recipient (age1…), such as that of your organisation')
    .option('--name <name>', 'what this recipient is called', 'other')
    .action(async (options: WayOptions) => {
      const bench = await context.workbench();
      const way = await wayOf(options);
      await addUnlock(bench.folder, insideOf(bench.archive).key, way);
      const name = 'passphrase' in way ? 'passphrase' : options.name;
      context.out.result({ added: name }, `The archive also opens by: ${name}.`);
    });

  archive
    .command('rotate')
    .description('make a new data key, and encrypt the whole archive again under it')
    .option('--passphrase-file <file>', 'the passphrase of the new key is the first line of this file')
    .action(async (options: { passphraseFile?: string }) => {
      const bench = await context.workbench();
      const { key, folder, witnesses } = insideOf(bench.archive);
      const given =
        options.passphraseFile === undefined
          ? process.env.TUCKPOINT_PASSPHRASE
          : await passphraseFrom(options.passphraseFile, '');
      const fresh = await rotateKey(bench.folder, key, given);
      const [witness] = witnesses;
      const again = await openArchive({ folder, key: fresh, ...(witness === undefined ? {} : { witness }) });
      try {
        const { done, damaged } = await rewrapArchive(insideOf(again), (at, total) =>
          context.out.progress(`   … ${at} of ${total} files`),
        );
        const text = [
          `The archive has a new key; files encrypted again: ${done}. Restart every other process that has it open.`,
          ...damaged.map((file) => `Left under the old key, because it cannot be opened: ${file}`),
        ];
        context.out.result(
          { recipient: fresh.recipient, done, damaged, folder: path.resolve(folder) },
          text.join('\n'),
        );
        if (damaged.length > 0) context.exit(ExitCode.different);
      } finally {
        await again.close();
      }
    });
}
