import { readFile, writeFile } from 'node:fs/promises';
import type { Command } from 'commander';
import { exportCapture, importCapture, readKeyFile } from '#archive';
import { TuckpointError } from '#core/errors';
import type { CliContext } from './context.ts';
import { passphraseFrom } from './passphrase.ts';

interface ExportOptions {
  to?: string[];
  passphrase?: boolean;
  passphraseFile?: string;
  output?: string;
}

interface ImportOptions {
  passphraseFile?: string;
  identity?: string;
  device?: string;
}

/** `archive export | import`: one capture as one file, for another person. */
export function archiveSharingCommands(archive: Command, context: CliContext): void {
  archive
    .command('export <capture>')
    .description('write one file for another person, encrypted for them (age)')
    .option('--to <recipients...>', 'age recipients (age1…)')
    .option('--passphrase', 'ask for a passphrase')
    .option('--passphrase-file <file>', 'the passphrase is the first line of this file')
    .option('--output <file>', 'the file to write (default: CAPTURE.tar.zst.age)')
    .action(async (id: string, options: ExportOptions) => {
      const word = options.passphrase === true || options.passphraseFile !== undefined;
      if (word === (options.to !== undefined))
        throw new TuckpointError(
          'cli/bad-option',
          'Say for whom: --to RECIPIENT, or --passphrase, and not both.',
        );
      const capture = await (await context.workbench()).archive.get(id);
      const to =
        options.to === undefined
          ? { passphrase: await passphraseFrom(options.passphraseFile, 'Passphrase for the file: ') }
          : { recipients: options.to };
      const file = options.output ?? `${id}.tar.zst.age`;
      const bytes = await exportCapture(capture, to);
      await writeFile(file, bytes, { mode: 0o600, flag: 'wx' }).catch((cause) => {
        throw new TuckpointError('cli/not-written', 'The file cannot be written, or is there already.', {
          place: { file },
          cause,
        });
      });
      context.out.result(
        { id, file, bytes: bytes.length },
        `${file}: ${bytes.length} bytes. Opens with: age -d ${file} | zstd -d | tar -x`,
      );
    });

  archive
    .command('import <file>')
    .description('take an exported capture into the archive')
    .option('--passphrase-file <file>', 'the passphrase is the first line of this file (default: ask)')
    .option('--identity <file>', 'open it with the identities in this age key file')
    .option('--device <name>', 'store it as a capture of this device')
    .action(async (file: string, options: ImportOptions) => {
      const bench = await context.workbench();
      const bytes = await readFile(file).catch((cause) => {
        throw new TuckpointError('cli/no-file', 'The file cannot be read.', { place: { file }, cause });
      });
      const open =
        options.identity === undefined
          ? { passphrase: await passphraseFrom(options.passphraseFile, 'Passphrase of the file: ') }
          : { identities: await readKeyFile(options.identity) };
      const capture = await importCapture(bytes, open);
      const record = await bench.archive.put({ ...capture, device: options.device ?? capture.device });
      context.out.result(record, `${record.id}: ${record.device}, taken ${record.at}, imported.`);
    });
}
