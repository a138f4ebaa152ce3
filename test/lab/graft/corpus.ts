import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { natRuleset } from '../traffic/nat-rulesets.ts';
import { Random } from '../traffic/random.ts';
import { filterRuleset } from '../traffic/rulesets.ts';
import { savedRuleset } from '../traffic/saved-rulesets.ts';

export interface Ruleset {
  readonly name: string;
  readonly text: string;
}

/**
 * Rulesets that share names of tables, chains and sets and differ in what they hold: generated ones for filters and
 * translation, with layout and comments of several kinds.
 */
export function generatedRulesets(count: number): Ruleset[] {
  return Array.from({ length: count }, (_, seed) => {
    const random = new Random(seed + 1);
    const filter = random.chance(0.8) ? filterRuleset(random, 8) : '';
    const nat = filter === '' || random.chance(0.4) ? natRuleset(random) : '';
    return { name: `generated-${seed + 1}.nft`, text: dressed(filter + nat, random) };
  });
}

/** Rules as iptables-save prints them, IPv4, that share names of chains; many carry a name of their own. */
export function savedRulesets(count: number): Ruleset[] {
  return Array.from({ length: count }, (_, seed) => {
    const random = new Random(seed + 1);
    let rules = 0;
    const named = savedRuleset(random, 4).replaceAll(/^-A (?!.*--comment).*?(?= -[jg] |$)/gmu, (rule) =>
      random.chance(0.5) ? `${rule} -m comment --comment "rule ${++rules}"` : rule,
    );
    return { name: `generated-${seed + 1}.v4`, text: named };
  });
}

/**
 * The nftables project's own rulesets, where they are at hand: TUCKPOINT_REFERENCE names a folder that holds them
 * under `nftables`.
 */
export function projectRulesets(): Ruleset[] {
  const folder = path.join(process.env.TUCKPOINT_REFERENCE ?? '', 'nftables');
  if (process.env.TUCKPOINT_REFERENCE === undefined || !existsSync(folder)) return [];
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.nft'))
    .sort()
    .map((name) => ({ name, text: readFileSync(path.join(folder, name), 'utf8') }));
}

/** The same ruleset as a person might lay it out: indented otherwise, with comments and empty lines, rules named. */
function dressed(text: string, random: Random): string {
  const indent = random.pick(['\t', '  ', '    ']);
  let rules = 0;
  const lines = text.split('\n').map((line) => {
    const depth = /^ */.exec(line)![0].length / 2;
    const body = line.trim();
    const isRule = depth === 2 && !body.startsWith('type ') && body !== '';
    const named = isRule && random.chance(0.3) ? `${body} comment "rule ${++rules}"` : body;
    const noted = isRule && random.chance(0.2) ? `${named} # why` : named;
    const put = body === '' ? '' : indent.repeat(depth) + noted;
    return isRule && random.chance(0.15) ? `\n${indent.repeat(depth)}# a note\n${put}` : put;
  });
  return `${random.chance(0.5) ? 'flush ruleset\n' : '# kept by hand\n'}${lines.join('\n')}`;
}
