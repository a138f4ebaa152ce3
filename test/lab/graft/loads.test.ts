import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { codeOf } from '#core/errors';
import { type CapturePart, type ChosenPart, chooseFrom, graftPart, readCapture } from '#dialects';
import { whyNoLab } from '../../../lab/index.ts';
import { Random } from '../traffic/random.ts';
import { generatedRulesets, projectRulesets, type Ruleset, savedRulesets } from './corpus.ts';

/**
 * Random parts of one ruleset carried into another, however collisions and places are decided: what is written reads
 * back as predicted (`graftPart` refuses it otherwise), and the kernel takes it. Source: the program nft, which loads
 * each written file for real in a network namespace of its own; and iptables-restore likewise.
 */
type Loader = (text: string) => { readonly status: number | null; readonly stderr: string };
const loadBy =
  (...program: string[]): Loader =>
  (text) =>
    spawnSync('unshare', ['-n', ...program], { input: text, encoding: 'utf8' });
const nft = loadBy('nft', '-f', '-');
const restore = loadBy('iptables-nft-restore');

interface Read extends Ruleset {
  readonly part: CapturePart;
}

/** Those that both the kernel and we read. */
function loadable(rulesets: readonly Ruleset[], load: Loader, language: string): Read[] {
  return rulesets.flatMap((ruleset) => {
    if (load(ruleset.text).status !== 0) return [];
    const { parts } = readCapture([{ name: ruleset.name, bytes: new TextEncoder().encode(ruleset.text) }]);
    return parts.length === 1 && parts[0]!.dialect.name === language ? [{ ...ruleset, part: parts[0]! }] : [];
  });
}

interface Tally {
  written: number;
  nothingToDo: number;
  asked: number;
  refused: number;
}

function carry(source: Read, target: Read, load: Loader, random: Random, tally: Tally): string | null {
  const { objects } = source.part.configuration;
  const taken = random.some(objects, 1, 3).map(({ kind, name }) => {
    const own = `${kind}:"${name}"`;
    return random.chance(0.2) ? `needs:${own}` : random.chance(0.2) ? `uses:${own}` : own;
  });
  const take = random.chance(0.1) ? ['all'] : taken;
  const wish = {
    take,
    collision: random.pick(['keep', 'take', 'rename']),
    place: random.pick(['first', 'last', 'neighbours']),
    match: random.chance(0.5),
  };
  const told = `${source.name} onto ${target.name}, ${JSON.stringify(wish)}`;
  try {
    const chosen = chosenFrom(source.part, take);
    const { plan, after } = graftPart(chosen, target.part, {
      decide: decisionRule([readDecision(wish.collision)]),
      anchor: readAnchor(wish.place),
      matchMay: () => wish.match,
    });
    if (after === null) {
      expect(plan.problems.length).toBeGreaterThan(0);
      tally.asked++;
      return null;
    }
    if (after.files[0]!.text === target.text) {
      tally.nothingToDo++;
      return null;
    }
    const text = after.files[0]!.text;
    const loaded = load(text);
    tally.written++;
    return loaded.status === 0 ? null : `${told}: ${loaded.stderr.split('\n')[0]}`;
  } catch (error) {
    const code = codeOf(error);
    if (code === 'config/nothing-selected') return null;
    if (code === 'dialects/cannot-write') tally.refused++;
    else return `${told}: ${String(error)}`;
    return null;
  }
}

function chosenFrom(part: CapturePart, take: readonly string[]): ChosenPart {
  const [chosen] = chooseFrom({ parts: [part], unread: [] }, take.map(readSelector));
  return chosen!;
}

function trials(rulesets: readonly Read[], load: Loader, count: number, seed: number) {
  const random = new Random(seed);
  const tally: Tally = { written: 0, nothingToDo: 0, asked: 0, refused: 0 };
  const wrong: string[] = [];
  for (let trial = 0; trial < count; trial++) {
    const said = carry(random.pick(rulesets), random.pick(rulesets), load, random, tally);
    if (said !== null) wrong.push(said);
  }
  return { tally, wrong };
}

describe.skipIf(whyNoLab() !== null)('random grafts between rulesets that a kernel loads', () => {
  it('read back as predicted and load, for generated rulesets', () => {
    const rulesets = loadable(generatedRulesets(40), nft, 'nftables');
    expect(rulesets.length).toBeGreaterThan(30);
    const { tally, wrong } = trials(rulesets, nft, Number(process.env.TUCKPOINT_GRAFTS ?? 300), 7);
    console.log(`generated rulesets: ${JSON.stringify(tally)}`);
    expect(wrong).toEqual([]);
    expect(tally.written).toBeGreaterThan(100);
  });

  it('read back as predicted and load, for generated rules as iptables-save prints them', () => {
    const rulesets = loadable(savedRulesets(30), restore, 'iptables');
    expect(rulesets.length).toBeGreaterThan(20);
    const { tally, wrong } = trials(rulesets, restore, Number(process.env.TUCKPOINT_GRAFTS ?? 300), 13);
    console.log(`saved rules: ${JSON.stringify(tally)}`);
    expect(wrong).toEqual([]);
    expect(tally.written).toBeGreaterThan(50);
  });

  const project = projectRulesets();
  it.runIf(project.length > 0)(
    "read back as predicted and load, for the nftables project's own rulesets",
    () => {
      const rulesets = loadable(project, nft, 'nftables');
      const { tally, wrong } = trials(rulesets, nft, Number(process.env.TUCKPOINT_GRAFTS ?? 2000), 11);
      console.log(`${rulesets.length} rulesets of the project: ${JSON.stringify(tally)}`);
      expect(wrong).toEqual([]);
      expect(tally.written).toBeGreaterThan(20);
    },
  );
});
