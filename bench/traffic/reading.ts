import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { Dialect } from '#core/config';
import { trafficDifference } from '#core/traffic';
import { dialectNamed } from '#dialects';
import { dialectFromMapping } from '#dialects/mapping';
import { edited } from './edits.ts';
import { loadOf, spread, timed } from './measure.ts';
import { seeded } from './random.ts';
import { policyOf, type Shape } from './shapes.ts';
import { accessListText, MAPPING_TEXT, mappedText, nftablesText } from './texts.ts';

/** Milliseconds from text to a policy ready to be compared, by language. */
export function measureReading(shape: Shape, rules: number): Record<string, number> {
  const policy = policyOf(shape, rules, 1);
  const languages: readonly (readonly [Dialect, string])[] = [
    [dialectNamed('nftables'), nftablesText(policy)],
    // Several networks in one rule and zones are beyond what one entry of these says.
    ...(shape === 'enterprise'
      ? []
      : ([
          [dialectNamed('ietf'), accessListText(policy)],
          [dialectFromMapping({ name: 'passages.yaml', text: MAPPING_TEXT }), mappedText(policy)],
        ] as const)),
  ];
  return Object.fromEntries(
    languages.map(([dialect, text]) => {
      const read = () => {
        const found = dialect.policy(dialect.read([{ name: 'generated', text }]));
        if (found === null || found.unread.length > 2)
          throw new Error(`${dialect.name} did not read the text`);
        loadOf(found);
      };
      read();
      return [dialect.name, spread(Array.from({ length: 5 }, () => timed(read))).median];
    }),
  );
}

/** Megabytes at most of a process that does nothing but compare two policies of this shape. */
export function measureMemory(shape: Shape, rules: number): number {
  const file = fileURLToPath(import.meta.url);
  const { stdout, stderr } = spawnSync(process.execPath, [file, '--memory', shape, String(rules)], {
    encoding: 'utf8',
  });
  if (!/^\d/.test(stdout)) throw new Error(`The memory could not be measured: ${stderr}`);
  return Number(stdout);
}

/** What the process started by `measureMemory` does. */
export function useMemory(shape: Shape, rules: number): void {
  const policy = policyOf(shape, rules, 1);
  const random = seeded(1000);
  const after = edited(policy, shape, 1 + random.below(5), random);
  trafficDifference(policy, after);
  console.log(process.resourceUsage().maxRSS / 1000);
}
