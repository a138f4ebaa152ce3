import { createInterface } from 'node:readline/promises';
import type { CliContext } from './context.ts';
import { CAUTION } from './words.ts';

/** Says the cautions and asks the person at the terminal. Where nobody can be asked the answer is no. */
export async function isMeant(context: CliContext, devices: number): Promise<boolean> {
  context.out.line(CAUTION);
  if (!process.stdin.isTTY) return false;
  const lines = createInterface({ input: process.stdin, output: process.stderr });
  try {
    const on = devices === 1 ? 'the device' : `${devices} devices`;
    const said = await lines.question(`Carry this out on ${on}? (yes/no) `);
    return said.trim().toLowerCase() === 'yes';
  } finally {
    lines.close();
  }
}
