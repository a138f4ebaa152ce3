import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { createInterface } from 'node:readline/promises';
import type { CliContext } from './context.ts';

const TRY = [
  ['device list', 'the devices in your care'],
  ['slots gull-quay-fw1', 'what each slot holds, and would hold after each operation'],
  ['capture --all', 'every configuration into the archive'],
  ['reading north-mole-fw1', 'interfaces, loss, memory, alarms'],
  ['boot gull-quay-fw1 --slot spare --dry-run', 'what would be done, without touching the device'],
  ['slots keep gull-quay-fw2', 'copy the running slot to the spare'],
  ['runs', 'the runs so far'],
  ['--help', 'everything else'],
];

/** Keeps the practice estate up and carries out commands typed at a prompt, each in a process of its own. */
export async function practicePrompt(context: CliContext): Promise<void> {
  const { out } = context;
  const data = context.dataFolder();
  out.line(
    '\nThe practice estate stays up. Try (as typed here, or as "npx tuckpoint …" in another terminal after',
  );
  out.line(`"export TUCKPOINT_DATA=${data}"):\n`);
  const width = Math.max(...TRY.map(([command]) => (command ?? '').length));
  for (const [command, what] of TRY) out.line(`  ${(command ?? '').padEnd(width)}   ${what}`);
  if (!process.stdin.isTTY) {
    out.line('\nEnd with Ctrl-C.');
    await Promise.race([once(process, 'SIGINT'), once(process, 'SIGTERM')]);
    return;
  }
  out.line('\n"quit" ends it.');
  const lines = createInterface({ input: process.stdin, output: process.stdout, prompt: 'tuckpoint> ' });
  lines.prompt();
  for await (const line of lines) {
    const words = line
      .trim()
      .split(/\s+/)
      .filter((word) => word !== '' && word !== 'tuckpoint');
    if (words[0] === 'quit' || words[0] === 'exit') break;
    if (words.length > 0) {
      lines.pause();
      const child = spawn(process.execPath, [process.argv[1] ?? '', ...words], {
        stdio: 'inherit',
        env: { ...process.env, TUCKPOINT_DATA: data },
      });
      await once(child, 'exit');
      lines.resume();
    }
    lines.prompt();
  }
  lines.close();
}
