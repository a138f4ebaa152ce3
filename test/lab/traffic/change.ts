import type { Random } from './random.ts';

/** The ruleset with one to three rules changed: taken out, moved, given the other verdict, or a port or network changed. */
export function changed(random: Random, ruleset: string): string {
  const lines = ruleset.split('\n');
  for (let edits = 1 + random.below(3); edits > 0; edits--) {
    const rules = [...lines.keys()].filter((i) => /^ {4}\S/.test(lines[i]!) && !/^ {4}type /.test(lines[i]!));
    const at = random.pick(rules);
    const line = lines[at]!;
    switch (random.below(5)) {
      case 0:
        lines[at] = '';
        break;
      case 1: {
        const other = random.pick(rules.filter((i) => chainOf(lines, i) === chainOf(lines, at)));
        [lines[at], lines[other]] = [lines[other]!, line];
        break;
      }
      case 2:
        lines[at] = /accept$/.test(line) ? line.replace(/accept$/, 'drop') : line.replace(/drop$/, 'accept');
        break;
      case 3:
        lines[at] = line.replace(/\b(22|80|443|5060)\b/, '444');
        break;
      default:
        lines[at] = line.replace('10.1.0.0/16', '10.1.0.0/17').replace('192.0.2.0/24', '192.0.2.0/25');
    }
  }
  return lines.join('\n');
}

const chainOf = (lines: readonly string[], at: number): number =>
  lines.findLastIndex((line, i) => i <= at && /^ {2}chain /.test(line));
