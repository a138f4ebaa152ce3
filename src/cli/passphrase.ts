import { readFile } from 'node:fs/promises';
import { createInterface } from 'node:readline/promises';
import { Writable } from 'node:stream';
import { TuckpointError } from '#core/errors';

/** The first line of a file, or what the user types unseen at the terminal. Throws `cli/no-passphrase`. */
export async function passphraseFrom(file: string | undefined, question: string): Promise<string> {
  if (file !== undefined) {
    const text = await readFile(file, 'utf8').catch((cause) => {
      throw new TuckpointError('cli/no-passphrase', 'The passphrase cannot be read.', {
        place: { file },
        cause,
      });
    });
    return text.split(/\r?\n/, 1)[0]!;
  }
  if (!process.stdin.isTTY)
    throw new TuckpointError('cli/no-passphrase', 'There is nobody to ask for the passphrase.', {
      advice: 'Give it in a file with --passphrase-file.',
    });
  process.stderr.write(question);
  const unseen = new Writable({ write: (_chunk, _encoding, done) => done() });
  const terminal = createInterface({ input: process.stdin, output: unseen, terminal: true });
  try {
    return await terminal.question('');
  } finally {
    terminal.close();
    process.stderr.write('\n');
  }
}
