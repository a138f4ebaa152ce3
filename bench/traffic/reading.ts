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

/** Milliseconds from text to a policy ready to be compared, by language, of a process that does nothing else. */
export function measureReading(shape: Shape, rules: number): Record<string, number> {
  return JSON.parse(inProcess('--reading', shape, rules)) as Record<string, number>;
}

/** What the process started by `measureReading` does. */
export function useReading(shape: Shape, rules: number): void {
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
  const taken = Object.fromEntries(
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
  console.log(JSON.stringify(taken));
}

/** Megabytes at most of a process that does nothing but compare two policies of this shape. */
export function measureMemory(shape: Shape, rules: number): number {
  return Number(inProcess('--memory', shape, rules));
}

/** What this measurement prints when it is started anew to do one thing. */
function inProcess(what: '--memory' | '--reading', shape: Shape, rules: number): string {
  const file = fileURLToPath(import.meta.url);
  const { status, stdout, stderr } = spawnSync(process.execPath, [file, what, shape, String(rules)], {
    encoding: 'utf8',
  });
  if (status !== 0) throw new Error(`It could not be measured (${what}): ${stderr}`);
  return stdout;
}

/** What the process started by `measureMemory` does. */
export function useMemory(shape: Shape, rules: number): void {
  const policy = policyOf(shape, rules, 1);
  const random = seeded(1000);
  const after = edited(policy, shape, 1 + random.below(5), random);
  trafficDifference(policy, after);
  console.log(process.resourceUsage().maxRSS / 1000);
}
