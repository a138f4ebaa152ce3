import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  choose,
  closureOf,
  decisionRule,
  mismatchOf,
  planGraft,
  readAnchor,
  readDecision,
  readSelector,
  structureOf,
} from '#core/config';
import { codeOf } from '#core/errors';
import { dialectNamed, graftWriterFor } from '#dialects';

const nftables = dialectNamed('nftables');
const read = (name: string, text: string) => structureOf(nftables.read([{ name, text }]));

interface Wish {
  readonly take: readonly string[];
  readonly collision?: string;
  readonly place?: string;
  readonly match?: boolean;
}

/** The graft's plan, and the target's text after it; null where the plan asks a person. */
function graft(
  source: string,
  target: string,
  { take, collision = 'stop', place = 'neighbours', match = false }: Wish,
) {
  const from = read('source.nft', source);
  const onto = read('target.nft', target);
  const { objects } = choose(from, take.map(readSelector));
  const plan = planGraft(from, closureOf(from, objects), onto, {
    decide: decisionRule([readDecision(collision)]),
    anchor: readAnchor(place),
    matchMay: () => match,
  });
  if (plan.problems.length > 0) return { plan, text: null, mismatch: null };
  const files = nftables.write(onto.configuration.files, graftWriterFor(nftables).write(plan.job));
  return { plan, text: files[0]!.text, mismatch: mismatchOf(plan.prediction, nftables.read(files)) };
}

const SOURCE = `define quay = 10.1.0.0/16
table inet filter {
	set harbours { type ipv4_addr; flags interval; elements = { 10.1.0.0/16, 10.2.0.0/16 }; }
	set crews { type ipv4_addr; elements = { 10.9.0.1 }; }
	chain web {
		tcp dport 443 accept
		ip daddr $quay accept
	}
	chain forward {
		type filter hook forward priority filter; policy drop;
		ct state established,related accept
		ip saddr @harbours jump web comment "crew web"
		ip saddr @crews drop
		counter drop
	}
}
`;
const TARGET = `flush ruleset

table inet filter {
	# ours, do not touch
	set harbours {
		type ipv4_addr
		flags interval
		elements = { 10.1.0.0/16 } # small
	}
	set team { type ipv4_addr; elements = { 10.9.0.1 }; }

	chain forward {
		type filter hook forward priority filter; policy drop;
		ct state established,related accept

		# the end
		counter drop # bye
	}
}
`;

describe('a graft into a ruleset kept as text', () => {
  it('stops at a name that has another value there', () => {
    const { plan } = graft(SOURCE, TARGET, { take: ['rule:"crew web"'] });
    expect(plan.problems.map(({ what, object }) => [what, object.name])).toEqual([
      ['collision', 'inet filter harbours'],
    ]);
    expect(plan.job.steps).toEqual([]);
  });

  it('brings what a rule needs and nothing else, renamed with its mentions', () => {
    const { text, mismatch } = graft(SOURCE, TARGET, { take: ['rule:"crew web"'], collision: 'rename' });
    expect(mismatch).toBeNull();
    expect(text).toContain('ip saddr @harbours_grafted jump web comment "crew web"');
    expect(text).not.toContain('crews');
    // Every line of the target is still there, in its order.
    const lines = text!.split('\n');
    let at = 0;
    for (const line of TARGET.split('\n')) at = lines.indexOf(line, at) + 1 || Number.NaN;
    expect(at).not.toBeNaN();
  });

  it('takes ours by changing only the elements, when only they differ', () => {
    const { text, mismatch } = graft(SOURCE, TARGET, { take: ['address-group:harbours'], collision: 'take' });
    expect(mismatch).toBeNull();
    expect(text).toBe(TARGET.replace('{ 10.1.0.0/16 }', '{ 10.1.0.0/16, 10.2.0.0/16 }'));
  });

  it('lets theirs of the same value serve where that is allowed, and offers it elsewhere', () => {
    const served = graft(SOURCE, TARGET, { take: ['uses:crews'], match: true });
    expect(served.mismatch).toBeNull();
    expect(served.text).toContain('ip saddr @team drop');
    const offered = graft(SOURCE, TARGET, { take: ['uses:crews'] });
    expect(offered.plan.offers.map(({ there }) => there.name)).toEqual(['inet filter team']);
  });

  it('refuses a place that could be several', () => {
    const target = TARGET.replace('\t\t# the end\n', '\t\tip saddr 10.7.0.1 accept\n');
    const { plan } = graft(SOURCE, target, { take: ['uses:crews'] });
    expect(plan.problems.map(({ what }) => what)).toEqual(['placement']);
    const twice = TARGET.replace('counter drop # bye', 'accept comment "x"\n\t\tdrop comment "x"');
    expect(
      graft(SOURCE, twice, { take: ['uses:crews'], place: 'before:x' }).plan.problems[0]!.candidates,
    ).toEqual(['inet filter forward#2', 'inet filter forward#3']);
  });

  it('names near names for a selector that picks nothing', () => {
    try {
      graft(SOURCE, TARGET, { take: ['address-group:harbour'] });
      expect.unreachable();
    } catch (error) {
      expect(codeOf(error)).toBe('config/nothing-selected');
      expect(String((error as { advice?: string }).advice)).toContain('harbours');
    }
  });

  it('ends although chains jump in a circle', () => {
    const circle = SOURCE.replace('tcp dport 443 accept', 'tcp dport 443 jump back').replace(
      '\tchain forward',
      '\tchain back {\n\t\tjump web\n\t}\n\tchain forward',
    );
    const { text, mismatch } = graft(circle, TARGET, { take: ['chain:web'] });
    expect(mismatch).toBeNull();
    expect(text).toContain('chain back');
  });
});

/** Rulesets that share names and differ in values, so that every decision is met. */
const ruleset = fc
  .record({
    sets: fc.array(fc.uniqueArray(fc.integer({ min: 1, max: 4 }), { minLength: 1, maxLength: 3 }), {
      minLength: 1,
      maxLength: 4,
    }),
    rules: fc.array(
      fc.record({
        set: fc.nat(9),
        port: fc.integer({ min: 1, max: 4 }),
        verdict: fc.constantFrom('accept', 'drop', 'jump side'),
        comment: fc.option(fc.constantFrom('a', 'b', 'c', 'd')),
      }),
      { maxLength: 6 },
    ),
    indent: fc.constantFrom('\t', '  ', '    '),
    side: fc.integer({ min: 1, max: 3 }),
  })
  .map(({ sets, rules, indent, side }) => {
    const lines = sets.map(
      (hosts, i) =>
        `${indent}set s${i} { type ipv4_addr; elements = { ${hosts.map((h) => `10.0.0.${h}`).join(', ')} }; }`,
    );
    lines.push(`${indent}chain side {`, `${indent}${indent}tcp dport ${side} accept`, `${indent}}`);
    lines.push(
      `${indent}chain forward {`,
      `${indent}${indent}type filter hook forward priority 0; policy drop;`,
    );
    for (const { set, port, verdict, comment } of rules)
      lines.push(
        `${indent}${indent}ip saddr @s${set % sets.length} tcp dport ${port} ${verdict}${comment === null ? '' : ` comment "${comment}"`} # note`,
      );
    return `# kept\ntable inet filter {\n${lines.join('\n')}\n${indent}}\n}\n`;
  });

it('reads back as predicted, whatever is taken and however collisions and places are decided', () => {
  fc.assert(
    fc.property(
      ruleset,
      ruleset,
      fc.constantFrom(
        'all',
        'kind:rule',
        'kind:chain',
        'kind:address-group',
        's?',
        'uses:s0',
        'section:*forward',
      ),
      fc.constantFrom('keep', 'take', 'rename'),
      fc.constantFrom('first', 'last', 'neighbours'),
      fc.boolean(),
      (source, target, take, collision, place, match) => {
        try {
          const { mismatch } = graft(source, target, { take: [take], collision, place, match });
          expect(mismatch).toBeNull();
        } catch (error) {
          expect(codeOf(error)).toBe('config/nothing-selected');
        }
      },
    ),
    { numRuns: 500 },
  );
});

const folder = path.join(process.env.TUCKPOINT_REFERENCE ?? '', 'nftables');
const here = process.env.TUCKPOINT_REFERENCE !== undefined && existsSync(folder);

describe.runIf(here)("the nftables project's own rulesets", () => {
  it('carried whole into an empty file read back as predicted, or are refused by name', () => {
    const files = readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) =>
      name.endsWith('.nft'),
    );
    const counts = { asPredicted: 0, refused: 0, unreadable: 0, empty: 0 };
    const wrong: string[] = [];
    for (const name of files) {
      const source = readFileSync(path.join(folder, name), 'utf8');
      try {
        const { mismatch, text } = graft(source, '# empty\n', { take: ['all'] });
        if (text === null) counts.refused++;
        else if (mismatch === null) counts.asPredicted++;
        else wrong.push(`${name}: ${mismatch}`);
      } catch (error) {
        const code = codeOf(error) ?? '';
        if (code === 'dialects/cannot-write') counts.refused++;
        else if (code === 'config/nothing-selected') counts.empty++;
        else if (code.startsWith('dialects/')) counts.unreadable++;
        else throw error;
      }
    }
    console.log(
      `${files.length} rulesets`,
      counts,
      `${wrong.length} would be stopped before anything is sent`,
      wrong.slice(0, 8),
    );
    expect(wrong).toEqual([]);
    expect(counts.asPredicted).toBeGreaterThan(200);
  });
});

it('brings counters and helpers that are named in quotes, each of its kind', () => {
  const source = `table inet filter {
	counter crew { packets 0 bytes 0 }
	quota crew { over 2000 bytes }
	ct helper sip-5060 { type "sip" protocol udp; }
	map counted { type ipv4_addr : counter; elements = { 10.1.0.1 : "crew" }; }
	chain forward {
		type filter hook forward priority filter; policy drop;
		counter name ip saddr map @counted comment "crew"
		ct helper set udp dport map { 5060 : "sip-5060" }
	}
}
`;
  const { text, mismatch } = graft(source, 'table inet filter {\n}\n', { take: ['chain:forward'] });
  expect(mismatch).toBeNull();
  expect(text).toContain('counter crew');
  expect(text).toContain('ct helper sip-5060');
  expect(text).not.toContain('quota');
});
