import { existsSync, readFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { GroupResult } from '#runs';
import { careOf, Estate } from './estate.ts';
import { type Answer, dataOf, type RunAnswer, Workbench } from './workbench.ts';

/** Grafts by the command line onto practice devices; the process is killed with SIGKILL at each step of a run. */
const two = ['gull-quay-fw1', 'gull-quay-fw2', 'lantern-head-fw1', 'sandgate-slip-fw1'] as const;
const pair = 'north-mole-fw1';
const virtual = 'lantern-head-cctv';
let estate: Estate;
let parcels = 0;

beforeAll(async () => {
  estate = await Estate.start([...two, pair, virtual]);
  const captured = await estate.run('capture', '--all');
  if (captured.code !== 0) throw new Error(captured.stderr);
});
afterAll(() => estate.stop());

/** The words of a command that grafts one rule, unlike any before. */
function parcel(...onto: string[]): { readonly words: string[]; readonly title: string } {
  const title = `parcel ${++parcels}`;
  const text = `table inet harbour {
	set parcel_gates_${parcels} { type ipv4_addr; elements = { 10.77.${parcels}.1 }; }
	chain forward {
		type filter hook forward priority filter; policy drop;
		ip saddr @parcel_gates_${parcels} tcp dport ${9000 + parcels} accept comment "${title}"
	}
}
`;
  const file = estate.file(`parcel-${parcels}.nft`, text);
  const take = ['--take', `rule:"${title}"`, '--place', 'first'];
  return { words: ['graft', '--yes', '--from', file, ...take, '--onto', ...onto], title };
}

const resultsOf = (answer: Answer) => dataOf<GroupResult>(answer).results;
const decisionsOf = (answer: Answer) => resultsOf(answer).map(({ decision }) => decision);

describe('A graft by the command line', () => {
  test('shows its plan and touches nothing with --dry-run', async () => {
    const { words, title } = parcel(two[0]);
    const log = estate.control(two[0]).log().length;
    const answer = await estate.say(...words, '--dry-run');
    expect(answer.code, answer.stderr).toBe(0);
    expect(answer.stdout).toContain(title);
    expect(estate.control(two[0]).log()).toHaveLength(log);
  });

  test('touches nothing without a yes', async () => {
    const { words } = parcel(two[0]);
    const log = estate.control(two[0]).log().length;
    const answer = await estate.say(...words.filter((word) => word !== '--yes'));
    expect(answer.code, answer.stderr).toBe(2);
    expect(answer.stdout).toContain('No device was touched.');
    expect(estate.control(two[0]).log()).toHaveLength(log);
  });

  test('goes to the canary, then to the others; the reports are there, and the group can be undone', async () => {
    const before = two.map((name) => estate.runs(name).configuration);
    const { words, title } = parcel(...two);
    const answer = await estate.run(...words, '--canary', two[2], '--width', '3');
    expect(answer.code, answer.stderr).toBe(0);
    expect(decisionsOf(answer)).toEqual(['kept', 'kept', 'kept', 'kept']);
    const done = dataOf<GroupResult & { results: { reportFile: string }[]; choice: unknown }>(answer);
    expect(done.choice).toBeDefined();
    for (const { reportFile } of done.results) {
      expect(existsSync(reportFile)).toBe(true);
      expect(readFileSync(reportFile, 'utf8')).toContain('The change stays.');
    }
    for (const name of two) expect(estate.policy(name)).toContain(title);
    // A device that holds it already has nothing to do.
    const again = await estate.run(...words);
    expect(decisionsOf(again)).toEqual(['done', 'done', 'done', 'done']);

    const undone = await estate.run('graft', 'undo', done.group, '--width', '4');
    expect(undone.code, undone.stderr).toBe(0);
    expect(decisionsOf(undone).sort()).toEqual(['kept', 'kept', 'kept', 'kept']);
    expect(two.map((name) => estate.runs(name).configuration)).toEqual(before);
  });

  test('whose process is killed goes on with what had begun, and names the devices that had not', async () => {
    const three = two.slice(0, 3);
    const { words, title } = parcel(...three);
    const killed = await estate.watch(words, (event, child) => {
      if (event.kind === 'step' && event.step === 'apply' && event.state === 'acted') child.kill('SIGKILL');
    });
    expect(killed.signal, killed.stderr).toBe('SIGKILL');
    const id = /"run":"([^"]+)"/u.exec(killed.stderr)![1]!;
    const resumed = await estate.say('resume', id);
    expect(resumed.code, resumed.stderr).toBe(0);
    expect(resumed.stderr).toMatch(
      /^.*Never begun of "graft rule:.*": gull-quay-fw2, lantern-head-fw1\. .*$/mu,
    );
    expect(three.map((name) => estate.policy(name).includes(title))).toEqual([true, false, false]);
    expect(decisionsOf(await estate.run(...words))).toEqual(['done', 'kept', 'kept']);
    expect((await estate.say('resume', id)).stderr).not.toContain('Never begun');
  });

  test('goes onto models that install into the spare, and onto virtual ones', async () => {
    const { words, title } = parcel(pair, virtual);
    const answer = await estate.run(...words);
    expect(decisionsOf(answer), answer.stdout + answer.stderr).toEqual(['kept', 'kept']);
    for (const name of [pair, virtual]) expect(estate.policy(name)).toContain(title);
  });

  test('of a configuration that was changed since the last capture is planned anew, and loses nothing', async () => {
    const name = two[0];
    // Somebody else, with a workbench of their own: the archive here knows nothing of it.
    const other = new Workbench();
    try {
      await other.add(careOf(estate.access(name)));
      expect((await other.run('capture', name)).code).toBe(0);
      const theirs = parcel(name);
      expect(decisionsOf(await other.run(...theirs.words))).toEqual(['kept']);
      const ours = parcel(name);
      const answer = await estate.run(...ours.words);
      expect(resultsOf(answer)[0], answer.stderr).toMatchObject({ decision: 'kept', plannedAnew: true });
      for (const { title } of [ours, theirs]) expect(estate.policy(name)).toContain(title);
      // Theirs cannot be undone any more without losing ours: that is said, and nothing is done.
      const [kept] = dataOf<{ id: string }[]>(await other.run('runs', name));
      const undo = await other.run('graft', 'undo', kept!.id);
      expect(undo.code).toBe(3);
      expect(resultsOf(undo)[0]!.reason).toContain('no longer holds what run');
      expect(estate.policy(name)).toContain(ours.title);
    } finally {
      other.remove();
    }
  });

  test('and a second one at the same time on the same device is told that it is busy', async () => {
    const [a, b] = [parcel(two[3]), parcel(two[3])];
    const answers = await Promise.all([estate.run(...a.words), estate.run(...b.words)]);
    const codes = answers.map(({ code }) => code).sort();
    expect(codes, answers.map(({ stderr }) => stderr).join('')).toEqual([0, 5]);
    const busy = answers.find(({ code }) => code === 5)!;
    expect(decisionsOf(busy)).toEqual(['not done']);
    expect(estate.policy(two[3]).match(/comment "parcel/gu)).toHaveLength(1);
  });

  test('that takes nothing, goes onto no device, or is too wide is bad input', async () => {
    const { words } = parcel(two[0]);
    const without = words.map((word) => (word.startsWith('rule:') ? 'rule:"no such rule"' : word));
    for (const command of [
      without,
      parcel('no-such-device').words,
      [...words, '--width', '0'],
      [...words, '--canary', two[1]],
      ['graft', 'undo', 'no-such-run'],
    ]) {
      const answer = await estate.say(...command);
      expect(answer.code, `${command.join(' ')}: ${answer.stderr}`).toBe(3);
      expect(answer.stderr.trimEnd().split('\n'), answer.stderr).toHaveLength(1);
    }
  });
});

describe('A restore', () => {
  test('of the capture of another device is refused with what differs; by word it is done, and can be undone', async () => {
    const before = estate.runs(two[0]);
    const foreign = dataOf<{ capture: string }[]>(await estate.run('capture', two[1]))[0]!.capture;
    const refused = await estate.run('restore', two[0], foreign);
    expect(refused.code).toBe(3);
    expect(dataOf<RunAnswer>(refused).reason).toContain(`The capture is of ${two[1]}, not of ${two[0]}.`);
    expect(estate.runs(two[0])).toEqual(before);
    const plan = dataOf<{ doubts: string[] }>(await estate.run('restore', two[0], foreign, '--dry-run'));
    expect(plan.doubts.join(' ')).toContain(two[1]);
    const shown = await estate.say('restore', two[0], foreign, '--dry-run');
    expect(shown.stdout).toMatch(/What would change[\s\S]*Traffic[\s\S]*->/u);
    const words = ['--accept-warnings', '--accept-worse', '--accept-broken-promises'];
    const done = await estate.ended('restore', two[0], foreign, ...words);
    expect(done.decision, done.reason).toBe('kept');
    expect(estate.runs(two[0]).configuration).toBe(estate.runs(two[1]).configuration);
    expect(done.report.warnings!.join(' ')).toContain(two[1]);
    const undone = await estate.run('graft', 'undo', done.run);
    expect(decisionsOf(undone), undone.stderr).toEqual(['kept']);
    expect(estate.runs(two[0]).configuration).toBe(before.configuration);
  });
});

const FORWARD = ['look', 'capture', 'planned', 'arm', 'reading', 'apply', 'reach', 'look-after'];
const REST = ['capture-after', 'read-back', 'promises', 'reading-after', 'compare', 'disarm'];
const BACK = ['back-apply', 'back-disarm', 'back-look', 'back-capture', 'back-reading', 'back-compare'];
/** At the begin of other steps nothing differs from the end of the step before them. */
const BEGUN = ['arm', 'apply', 'disarm', 'back-apply'];

/** Each device takes its share of the kills, side by side with the others. */
describe('A graft whose process is killed', { concurrent: true, timeout: 600_000 }, () => {
  const kills = [...FORWARD, ...REST, ...BACK].flatMap((step) =>
    (BEGUN.includes(step) ? (['started', 'acted'] as const) : (['acted'] as const)).map(
      (moment) => [step, moment] as const,
    ),
  );
  test.each(two.map((name, i) => [name, kills.filter((_, n) => n % two.length === i)] as const))(
    'on %s, at each step of its share, is gone on with to its proper end',
    async (name, share) => {
      for (const [step, moment] of share) {
        const goesBack = BACK.includes(step);
        const before = estate.runs(name).configuration;
        const { words, title } = parcel(name);
        const control = estate.control(name);
        const killed = await estate.watch(words, (event, child) => {
          if (event.kind !== 'step') return;
          if (goesBack && event.step === 'apply' && event.state === 'started')
            control.fault({ kind: 'packet-loss', percent: 60 });
          if (event.step === 'back-apply' && event.state === 'started') control.clearFaults();
          if (event.step === step && event.state === moment) child.kill('SIGKILL');
        });
        const where = `${name}, ${step} ${moment}: ${killed.stderr}`;
        expect(killed.signal, where).toBe('SIGKILL');
        control.clearFaults();
        const id = /"run":"([^"]+)"/u.exec(killed.stderr)![1]!;
        const resumed = dataOf<RunAnswer>(await estate.run('resume', id));
        expect(resumed.decision, `${where} ${resumed.reason}`).toBe(goesBack ? 'went back' : 'kept');
        expect(estate.policy(name).includes(title), where).toBe(!goesBack);
        if (goesBack) expect(estate.runs(name).configuration, where).toBe(before);
      }
    },
  );
});

test('Nothing waits to be resumed after all that, and nothing is armed', async () => {
  expect(dataOf(await estate.run('resume'))).toEqual([]);
  for (const name of two) {
    const { reading } = dataOf<{ reading: { alarms: string[] } }>(await estate.run('reading', name));
    expect(reading.alarms.filter((alarm) => alarm.includes('return'))).toEqual([]);
  }
});
