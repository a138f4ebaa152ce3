import { Refusal } from '../device/refusal.ts';
import type { Files } from '../disk/content.ts';
import { POLICY, SYSTEM } from './files.ts';

/**
 * What a practice device checks before it loads a configuration. Not a reader of nftables: braces, quotes and the
 * two files that must be there. Throws a Refusal with file and line.
 */
export function acceptConfiguration(files: Files): void {
  for (const name of [POLICY, SYSTEM]) {
    if (!files.has(name)) throw new Refusal(`the configuration lacks ${name}`);
  }
  checkPolicy(Buffer.from(files.get(POLICY)!).toString('utf8'));
  checkSystem(Buffer.from(files.get(SYSTEM)!).toString('utf8'));
}

function checkPolicy(text: string): void {
  let depth = 0;
  const opened: number[] = [];
  for (const [index, line] of text.split('\n').entries()) {
    const bare = line.replace(/"[^"]*"/g, '""').replace(/#.*$/, '');
    if ((bare.match(/"/g)?.length ?? 0) % 2 === 1)
      throw new Refusal(`${POLICY} line ${index + 1}: a quote is not closed`);
    for (const character of bare) {
      if (character === '{') opened[depth++] = index + 1;
      if (character === '}' && --depth < 0)
        throw new Refusal(`${POLICY} line ${index + 1}: a brace closes nothing`);
    }
  }
  if (depth > 0) throw new Refusal(`${POLICY} line ${opened[depth - 1]}: a brace is not closed`);
}

function checkSystem(text: string): void {
  for (const [index, line] of text.split('\n').entries()) {
    if (!/^\s*(;.*|\[[^\]]+\]|[a-z0-9-]+ = .*)?$/.test(line)) {
      throw new Refusal(`${SYSTEM} line ${index + 1}: neither a section, nor a setting, nor a remark`);
    }
  }
}
