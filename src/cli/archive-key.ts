import { writeFile } from 'node:fs/promises';
import path from 'node:path';
import type { Command } from 'commander';
import { insideOf, makeRecoveryKey, openArchive, rewrapArchive, rotateKey } from '#archive';
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

/** `archive recovery-key | rotate` */
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
          `The archive has a new key; ${done} files were encrypted again. Restart every other process that has it open.`,
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
