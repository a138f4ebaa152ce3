import type { Family } from '#core/address';
import type { SourceFile } from '#core/config';
import type { Origin, Path, Pipeline, Policy, Stage, Unread } from '#core/traffic';
import { excerpt, Lines } from '../../source/index.ts';
import { CONNTRACK_PRIORITY } from '../priority.ts';
import type { Chain, Place, Rule, Ruleset, Statement, Table } from '../syntax.ts';
import { Assembler } from './assembler.ts';
import { ChainCompiler, ruleText } from './chain.ts';
import type { Context } from './context.ts';
import { Notes } from './notes.ts';

/** The hooks that packets of a path pass, in order (nft(8), "Address families", the inet hooks). */
const HOOKS: Readonly<Record<Path, readonly string[]>> = {
  through: ['prerouting', 'forward', 'postrouting'],
  to: ['prerouting', 'input'],
  from: ['output', 'postrouting'],
};

/**
 * Where translation takes place at each hook: all nat chains of a hook share one place, whatever priority they
 * have among themselves (NF_IP_PRI_NAT_DST, NF_IP_PRI_NAT_SRC of netfilter_ipv4.h).
 */
const NAT_PRIORITY: Readonly<Record<string, number>> = {
  prerouting: -100,
  output: -100,
  input: 100,
  postrouting: 100,
};

interface BaseChain {
  readonly table: Table;
  readonly chain: Chain;
}

/**
 * The policy of a ruleset: for each path and family the base chains in order of hook and priority.
 * @throws TuckpointError `dialects/jump-loop`, `dialects/too-deep`, `dialects/too-large`.
 */
export function compilePolicy(ruleset: Ruleset, files: readonly SourceFile[]): Policy {
  markChangingSets(ruleset);
  const origins = new Origins(files);
  const notes = new Notes(ruleTexts(ruleset));
  const stages = new Map<string, Stage>();
  const pipelines: Pipeline[] = [];
  for (const family of [4, 6] as const) {
    for (const path of ['through', 'to', 'from'] as const) {
      const list = HOOKS[path].flatMap((hook) => stagesAt(hook, family));
      if (list.length > 0) pipelines.push({ path, family, stages: list });
    }
  }
  return { pipelines, unread: [...unreadParts(ruleset, origins), ...notes.finish()] };

  function stagesAt(hook: string, family: Family): Stage[] {
    const chains = baseChains(ruleset, hook, family);
    const filters = chains.filter(({ chain }) => chain.hook!.type !== 'nat');
    const nats = chains.filter(({ chain }) => chain.hook!.type === 'nat');
    const found = filters.map(({ table, chain }) => ({
      priority: chain.hook!.priority,
      stage: once(`${table.family} ${table.name} ${chain.name}`, family, (name) =>
        stageOf('filter', name, [{ table, chain }], family),
      ),
    }));
    if (nats.length > 0) {
      found.push({
        priority: NAT_PRIORITY[hook] ?? 0,
        stage: once(`nat ${hook}`, family, (name) => stageOf('nat', name, nats, family)),
      });
    }
    return found.sort((a, b) => a.priority - b.priority).map(({ stage }) => stage);
  }

  function once(name: string, family: Family, make: (name: string) => Stage): Stage {
    const key = `${family} ${name}`;
    const stage = stages.get(key) ?? make(name);
    stages.set(key, stage);
    return stage;
  }

  function stageOf(kind: Stage['kind'], name: string, chains: readonly BaseChain[], family: Family): Stage {
    const out = new Assembler();
    if (kind === 'nat') {
      // What is not tracked is never translated (nf_nat_inet_fn).
      const end = out.label();
      out.put({ states: ['invalid', 'untracked'] }, { label: end }, origins.head(chains[0]!));
      for (const [i, base] of chains.entries()) putChain(out, base, family, i === chains.length - 1);
      out.place(end);
    } else for (const base of chains) putChain(out, base, family, true);
    return { kind, name, rules: out.finish() };
  }

  function putChain(out: Assembler, base: BaseChain, family: Family, last: boolean): void {
    const { table, chain } = base;
    const hook = chain.hook!;
    const context: Context = {
      family,
      table,
      beforeRouting: hook.hook === 'prerouting',
      beforeTracking:
        hook.priority < CONNTRACK_PRIORITY && (hook.hook === 'prerouting' || hook.hook === 'output'),
      natChain: hook.type === 'nat',
      paths: (Object.keys(HOOKS) as Path[]).filter((path) => HOOKS[path].includes(hook.hook)),
      notes,
    };
    const policy = out.label();
    const next = out.label();
    const accept = last ? ({ verdict: 'accept' } as const) : { label: next };
    new ChainCompiler(context, out, accept, (rule) => origins.rule(rule)).chain(chain, policy);
    out.place(policy);
    out.put({}, chain.policy === 'drop' ? { verdict: 'drop' } : accept, origins.head(base));
    out.place(next);
  }
}

/** The text of the rule that a statement belongs to; who belongs to whom is worked out when first asked. */
function ruleTexts(ruleset: Ruleset): (statement: Statement) => string {
  let owners: Map<Statement, Rule> | null = null;
  return (statement) => {
    if (owners === null) {
      owners = new Map();
      for (const table of ruleset.tables.values()) {
        for (const chain of table.chains.values()) {
          for (const rule of chain.rules) for (const one of rule.statements) owners.set(one, rule);
        }
      }
    }
    const rule = owners.get(statement);
    return rule === undefined ? '' : ruleText(rule);
  };
}

/** Base chains of a hook that see packets of a family, in order of priority, then of registration. */
function baseChains(ruleset: Ruleset, hook: string, family: Family): BaseChain[] {
  const own = family === 4 ? 'ip' : 'ip6';
  const found: BaseChain[] = [];
  for (const table of ruleset.tables.values()) {
    if (table.dormant || (table.family !== own && table.family !== 'inet')) continue;
    for (const chain of table.chains.values()) if (chain.hook?.hook === hook) found.push({ table, chain });
  }
  return found.sort((a, b) => a.chain.hook!.priority - b.chain.hook!.priority);
}

/** A set that rules add to has no certain content. */
function markChangingSets(ruleset: Ruleset): void {
  for (const table of ruleset.tables.values()) {
    for (const chain of table.chains.values()) {
      for (const rule of chain.rules) {
        for (const statement of rule.statements) {
          if (statement.kind !== 'update') continue;
          const set = table.sets.get(statement.set);
          if (set !== undefined && !set.flags.includes('dynamic')) set.flags = [...set.flags, 'dynamic'];
        }
      }
    }
  }
}

/** Statements outside rules that were not read, and base chains that see packets where no path leads. */
function* unreadParts(ruleset: Ruleset, origins: Origins): Generator<Unread> {
  for (const part of ruleset.unread) {
    if (part.mayAffectTraffic) yield { ...origins.place(part.place), reason: part.why };
  }
  for (const table of ruleset.tables.values()) {
    if (table.dormant) continue;
    for (const chain of table.chains.values()) {
      const { hook } = chain;
      if (hook === null) continue;
      const layerThree = table.family === 'ip' || table.family === 'ip6' || table.family === 'inet';
      if (layerThree && Object.values(HOOKS).some((hooks) => hooks.includes(hook.hook))) continue;
      const idle = chain.policy !== 'drop' && chain.rules.every((rule) => rule.statements.every(isIdle));
      if (idle) continue;
      yield {
        ...origins.head({ table, chain }),
        reason: `the ${table.family} hook ${hook.hook} is outside the paths that are followed`,
      };
    }
  }
}

const isIdle = (statement: Statement): boolean => statement.kind === 'inert' || statement.kind === 'match';

/** Places as people read them; lines are counted once per file, rules are looked up once. */
class Origins {
  private readonly lines: ReadonlyMap<string, Lines>;
  private readonly rules = new Map<Rule, Origin>();

  constructor(files: readonly SourceFile[]) {
    this.lines = new Map(files.map((file) => [file.name, new Lines(file)]));
  }

  place(place: Place): Origin {
    const lines = this.lines.get(place.file);
    if (lines === undefined) return { file: place.file, line: 1, text: '' };
    const text = lines.text.slice(place.start, place.end);
    return { file: place.file, line: lines.lineAt(place.start), ...excerpt(text) };
  }

  rule(rule: Rule): Origin {
    const known = this.rules.get(rule);
    if (known !== undefined) return known;
    const origin = this.ofRule(rule);
    this.rules.set(rule, origin);
    return origin;
  }

  private ofRule({ place, worked }: Rule): Origin {
    const lines = this.lines.get(place.file);
    if (lines === undefined) return { file: place.file, line: 1, text: '' };
    worked.excerpt ??= excerpt(lines.text.slice(place.start, place.end));
    return { file: place.file, line: lines.lineAt(place.start), ...worked.excerpt };
  }

  head({ table, chain }: BaseChain): Origin {
    const { file, line } = this.place({ ...chain.place, end: chain.place.start });
    return {
      file,
      line,
      text: `chain ${table.family} ${table.name} ${chain.name}: policy ${chain.policy ?? 'accept'}`,
    };
  }
}
