import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { whyNoLoad } from '#rehearsal';
import { Estate } from './estate.ts';
import { dataOf } from './workbench.ts';

/**
 * Plans of grafts, and drift, on practice devices: Gull Quay and Lantern Head share object groups and differ in local
 * networks; Lantern Head has a passenger network that Gull Quay lacks. Nothing is carried out here.
 */
const [edge, control, source] = ['gull-quay-fw1', 'gull-quay-fw2', 'lantern-head-fw1'] as const;
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([edge, control, source]);
  const captured = await estate.run('capture', '--all');
  if (captured.code !== 0) throw new Error(captured.stderr);
});
afterAll(() => estate.stop());

interface Planned {
  readonly device: string;
  readonly files: readonly string[];
  readonly carried: readonly { readonly kind: string; readonly name: string; readonly fate: string }[];
  readonly problems: readonly { readonly what: string; readonly sentence: string }[];
  readonly objects: readonly { readonly change: string; readonly kind: string; readonly name: string }[];
  readonly traffic: { readonly verdict: string; readonly rows: readonly unknown[] } | null;
  readonly promises: readonly { readonly says: string; readonly answer: string }[];
  readonly restart: { readonly needed: boolean; readonly why: string };
  readonly fillIns: readonly { readonly value: string }[];
}
const graft = async (...args: string[]) => {
  const answer = await estate.run('graft', '--from', source, '--dry-run', ...args);
  return {
    ...answer,
    planned: answer.stdout === '' ? [] : (dataOf<{ devices: Planned[] }>(answer).devices ?? []),
  };
};
const PASSENGERS = 'address-group:passenger_wifi';
const DESKS = 'address-group:ticket_desks';

describe('the plan of a graft', () => {
  test('of an object that nobody uses says that no packet is treated differently, proved, and asks for no restart', async () => {
    const { code, planned } = await graft('--take', PASSENGERS, '--onto', edge);
    expect(code).toBe(0);
    expect(planned[0]).toMatchObject({
      objects: [{ change: 'added', kind: 'address-group', name: 'inet harbour passenger_wifi' }],
      traffic: { verdict: 'equal', exact: true },
      restart: { needed: false },
      problems: [],
    });
    const said = await estate.say(
      'graft',
      '--from',
      source,
      '--dry-run',
      '--take',
      PASSENGERS,
      '--onto',
      edge,
    );
    expect(said.stdout).toContain('No packet is treated differently (proved).');
  });

  test('of a rule brings its chain and sets and nothing else, and names the traffic that changes', async () => {
    const { planned } = await graft('--take', 'rule:inet harbour forward rule 8', '--onto', edge);
    expect(planned[0]!.traffic).toMatchObject({ verdict: 'different' });
    expect(planned[0]!.carried.filter(({ fate }) => fate === 'added').map(({ name }) => name)).toEqual([
      'inet harbour passenger_wifi',
      'inet harbour from_passenger',
      'inet harbour forward rule 8',
    ]);
  });

  test('names addresses and ports of rows as the user does, beside the plain ones', async () => {
    const { planned } = await graft('--take', 'rule:inet harbour forward rule 8', '--onto', edge);
    const rows = planned[0]!.traffic!.rows as { sources: string[]; named?: { sources?: string[] } }[];
    expect(rows.length).toBeGreaterThan(0);
    for (const { sources, named } of rows) {
      expect(sources).toEqual(['10.13.60.0/24']);
      expect(named?.sources).toEqual(['@passenger_wifi']);
    }
  });

  test('of chains that jump to each other in a circle comes to an end, and stops there', async () => {
    const circle = estate.file(
      'circle.nft',
      `table inet harbour {
	chain forward {
		jump one comment "round and round"
	}
	chain one {
		jump two
	}
	chain two {
		jump one
	}
}
`,
    );
    const round = ['--take', 'rule:"round and round"', '--place', 'last', '--onto', edge];
    const said = await estate.say('graft', '--from', circle, '--dry-run', ...round);
    expect(said.stdout).toContain('The chains call each other in a loop: one -> two -> one.');
    // Without a kernel at hand to refuse it, traffic that could not be compared is not carried out without a word.
    expect(said.code, said.stdout).toBe(2);
  });

  test('stops where a name has another value, until that is decided, for each device by itself', async () => {
    const asked = await graft('--take', DESKS, '--onto', edge, control);
    expect(asked.code).toBe(2);
    expect(asked.planned.map(({ problems }) => problems.map(({ what }) => what))).toEqual([
      ['collision'],
      [],
    ]);
    const decided = await graft(
      '--take',
      DESKS,
      '--onto',
      edge,
      '--on-collision',
      'ticket_desks=rename:desks_13',
    );
    expect(decided.code).toBe(0);
    expect(decided.planned[0]!.objects.map(({ name }) => name)).toEqual(['inet harbour desks_13']);
  });

  test('refuses a place that is not clear, and takes one that is said', async () => {
    const rule = ['--take', 'rule:inet harbour forward rule 8', '--onto', control];
    expect((await graft(...rule)).planned[0]!.problems.map(({ what }) => what)).toEqual(['placement']);
    expect((await graft(...rule, '--place', 'last')).planned[0]!.problems).toEqual([]);
  });

  test('puts in what differs per device, and lists what is missing', async () => {
    const table = estate.file(
      'fill.csv',
      `device,10.13.10.32-10.13.10.47\n${edge},10.11.10.32-10.11.10.47\n`,
    );
    const { planned } = await graft('--take', DESKS, '--onto', edge, control, '--fill', table);
    expect(planned[0]).toMatchObject({
      files: [],
      problems: [],
      fillIns: [{ value: '10.11.10.32-10.11.10.47' }],
    });
    expect(planned[1]!.problems).toMatchObject([
      { what: 'fill-in', sentence: expect.stringContaining(control) as string },
    ]);
    const wrong = estate.file('wrong.csv', `device,10.13.10.32-10.13.10.47\n${edge},10.11.10.32\n`);
    const refused = await graft('--take', DESKS, '--onto', edge, '--fill', wrong);
    expect([refused.code, refused.stderr]).toEqual([3, expect.stringContaining('wrong.csv:2') as string]);
  });

  test('names promises that would break, and stops there', async () => {
    const promises = estate.file(
      'promises.yaml',
      'promises:\n  - says: Passengers stay out\n    must: not pass\n    in: pass0\n    out: wan0\n    from: 10.13.60.0/24\n',
    );
    const rule = ['--take', 'rule:inet harbour forward rule 8', '--onto', edge, '--promises', promises];
    const stopped = await graft(...rule);
    expect(stopped.code).toBe(2);
    expect(stopped.planned[0]!.problems.map(({ sentence }) => sentence)).toEqual([
      'A promise would break: Passengers stay out (must not pass).',
    ]);
    const meant = await graft(...rule, '--accept-broken-promises');
    expect(meant.planned[0]!.problems).toEqual([]);
  });

  // Source: the program nft, which loads the result for real in a network namespace of its own.
  test.skipIf(whyNoLoad() !== null)('stops where the packet filter refuses the result', async () => {
    const other = `table inet harbour {
	set ticket_desks { type ipv6_addr; elements = { 2001:db8::1 }; }
	chain forward {
		type filter hook forward priority filter; policy drop;
		ip6 saddr @ticket_desks accept comment "six"
	}
}
`;
    const args = ['--take', 'rule:six', '--place', 'last', '--onto', edge, '--dry-run'];
    const from = ['graft', '--from', estate.file('other.nft', other), ...args];
    // Theirs stays, and holds IPv4 addresses: nothing but the packet filter itself says that this cannot be.
    const kept = await estate.run(...from, '--on-collision', 'keep');
    expect(kept.code).toBe(2);
    expect(dataOf<{ devices: Planned[] }>(kept).devices[0]!.problems).toMatchObject([
      { what: 'does not load', sentence: expect.stringContaining('mismatch') as string },
    ]);
    const renamed = await estate.say(...from, '--on-collision', 'rename');
    expect([renamed.code, renamed.stdout]).toEqual([
      0,
      expect.stringContaining('Loaded for real here') as string,
    ]);
  });

  test.each([
    [['--take', 'address-group:passenger_wif', '--onto', edge], 'passenger_wifi'],
    [['--take', 'kind:address', '--onto', edge], 'address-group'],
    [['--take', 'colour:red', '--onto', edge], 'kind'],
    [['--take', PASSENGERS, '--onto', 'gull-key-fw1'], 'gull-quay-fw1'],
    [['--take', PASSENGERS], '--onto'],
    [['--take', PASSENGERS, '--onto', edge, '--place', 'middle'], 'neighbours'],
    [['--take', PASSENGERS, '--onto', edge, '--on-collision', 'guess'], 'rename'],
  ])('%j is refused in one sentence that helps', async (args, help) => {
    const { code, stderr } = await graft(...args);
    expect([code, stderr.trim().split('\n').length]).toEqual([3, 1]);
    expect(stderr).toContain(help);
  });
});

interface Drifting {
  readonly device: string;
  readonly holds: readonly { readonly name: string }[];
  readonly differs: readonly { readonly name: string; readonly fields: readonly unknown[] }[];
  readonly lacks: readonly { readonly name: string }[];
}

describe('drift', () => {
  test('says who holds shared parts alike, who differs and how, and who lacks them', async () => {
    const answer = await estate.run(
      'drift',
      '--of',
      DESKS,
      'ticket_servers',
      '--across',
      '*',
      '--from',
      edge,
    );
    expect(answer.code).toBe(1);
    const { devices } = dataOf<{ devices: Drifting[] }>(answer);
    const [first, second, third] = [edge, control, source].map(
      (name) => devices.find((d) => d.device === name)!,
    );
    expect(first).toMatchObject({ differs: [], lacks: [] });
    expect(second).toMatchObject({ differs: [], lacks: [{ name: 'inet harbour ticket_desks' }] });
    expect(third).toMatchObject({
      holds: [{ name: 'inet harbour ticket_servers' }],
      differs: [{ name: 'inet harbour ticket_desks', fields: [{ field: 'elements' }] }],
      lacks: [],
    });
  });

  test('is none where all hold the same; and a graft of what differs leaves none to plan', async () => {
    const level = await estate.run('drift', '--of', 'never_from_outside', '--across', '*');
    expect(level.code).toBe(0);
    const said = await estate.say('drift', '--of', DESKS, '--across', edge, control, '--from', edge);
    expect(said.stdout).toContain(`tuckpoint graft --from ${edge}`);
  });
});
