import type { Dialect, SourceFile } from '#core/config';
import { compilePolicy, objectsOf, opaqueParts, type Ruleset } from '../netfilter/index.ts';
import { applyEdits } from '../source/index.ts';
import { formerRules } from './former-rules.ts';
import { isJsonRuleset, parseJson } from './json/index.ts';
import { parseScripts, rootScripts } from './parse-script.ts';

/** Reads nftables rulesets, as text or JSON. */
export const nftables: Dialect = {
  name: 'nftables',
  title: 'nftables rulesets, as text or as nft -j prints them',
  recognises,
  read(files, former) {
    const json = files.filter(isJsonRuleset);
    const known = former?.dialect === 'nftables' ? formerRules(former) : null;
    const ruleset = parseScripts(
      files.filter((file) => !json.includes(file)),
      known,
    );
    for (const file of json) parseJson(ruleset, file);
    return {
      dialect: 'nftables',
      files,
      objects: objectsOf(ruleset, files),
      opaque: opaqueParts(ruleset, files),
      syntax: ruleset,
    };
  },
  policy: (configuration) => compilePolicy(configuration.syntax as Ruleset, configuration.files),
  write: applyEdits,
};

/** The files to give to nft(8), in order, so that it loads what `read` reads: scripts, and rulesets as JSON. */
export function rulesetRoots(files: readonly SourceFile[]): {
  readonly text: string[];
  readonly json: string[];
} {
  const json = files.filter(isJsonRuleset);
  const text = rootScripts(files.filter((file) => !json.includes(file)));
  return { text: text.map(({ name }) => name), json: json.map(({ name }) => name) };
}

function recognises(file: SourceFile): number {
  if (isJsonRuleset(file)) return 1;
  const head = file.text.slice(0, 4000);
  if (/^#!.*\bnft\b/.test(head)) return 1;
  if (
    /^[ \t]*(?:add[ \t]+)?table[ \t]+(?:(?:ip6?|inet|arp|bridge|netdev)[ \t]+)?[\w.-]+[ \t]*(?:\{|$)/m.test(
      head,
    )
  )
    return 0.95;
  if (/^[ \t]*(?:flush ruleset|define \w+[ \t]*=|(?:add|insert) rule )/m.test(head)) return 0.8;
  return /\.nft$/.test(file.name) ? 0.6 : 0;
}
