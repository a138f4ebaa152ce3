import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { DeviceControl } from '#practice';
import type { GroupResult } from '#runs';
import { Estate } from './estate.ts';
import { dataOf, type RunAnswer } from './workbench.ts';

/** Grafts by the command line while the way to the device is cut, or its power goes, at each step that gives it an order. */
const devices = ['gull-quay-fw1', 'gull-quay-fw2', 'lantern-head-fw1', 'sandgate-slip-fw1'] as const;
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([...devices]);
  const captured = await estate.run('capture', '--all');
  if (captured.code !== 0) throw new Error(captured.stderr);
});
afterAll(() => estate.stop());

interface Trial {
  readonly what: string;
  /** It happens when this step begins. */
  readonly at: string;
  readonly strike: (control: DeviceControl) => void;
  /** Probes are lost with the new configuration, so that the run goes back. */
  readonly goesBack?: true;
}
const cut = (at: string, more: Partial<Trial> = {}): Trial => ({
  what: `the way is cut at ${at}`,
  at,
  strike: (control) => control.unreachableFor(1200),
  ...more,
});
const power = (instant: 'before' | 'half' | 'after'): Trial => ({
  what: `the power goes ${instant === 'half' ? 'halfway through' : instant} loading`,
  at: 'apply',
  strike: (control) => control.losePowerDuring('load', instant),
});
const TRIALS: readonly Trial[] = [
  ...['capture', 'arm', 'reading', 'apply', 'reach', 'capture-after', 'reading-after', 'disarm'].map((at) =>
    cut(at),
  ),
  ...['back-apply', 'back-disarm', 'back-capture'].map((at) => cut(at, { goesBack: true })),
  ...(['before', 'half', 'after'] as const).map(power),
];

/** Each device takes its share, side by side with the others. */
describe('A graft during which a device cannot be reached', { concurrent: true, timeout: 300_000 }, () => {
  test.each(devices.map((name, i) => [name, TRIALS.filter((_, n) => n % devices.length === i)] as const))(
    'leaves %s with the one configuration or the other, whole, and says which',
    async (name, share) => {
      const control = estate.control(name);
      for (const [n, { what, at, strike, goesBack }] of share.entries()) {
        const title = `cut ${n} of ${name}`;
        const file = estate.file(
          `${name}-${n}.nft`,
          `table inet harbour {
	chain forward {
		type filter hook forward priority filter; policy drop;
		ip saddr 10.78.${n}.1 tcp dport 9000 accept comment "${title}"
	}
}
`,
        );
        const before = estate.runs(name).configuration;
        let struck = false;
        const take = ['--from', file, '--take', `rule:"${title}"`, '--place', 'first'];
        const answer = await estate.watch(['graft', '--yes', ...take, '--onto', name], (event) => {
          if (event.kind !== 'step' || event.state !== 'started') return;
          if (goesBack === true && event.step === 'apply')
            control.fault({ kind: 'packet-loss', percent: 60 });
          if (event.step === 'back-apply') control.clearFaults();
          if (event.step !== at || struck) return;
          struck = true;
          strike(control);
        });
        const [first] = dataOf<GroupResult>(answer).results;
        const where = `${name}: ${what}: ${first!.decision} ${first!.reason}`;
        expect(struck, where).toBe(true);
        await control.reach('up');
        let { decision } = first!;
        if (decision === 'stopped')
          decision = dataOf<RunAnswer>(await estate.run('resume', first!.run!)).decision as typeof decision;
        expect(['kept', 'went back', 'not done'], where).toContain(decision);
        if (goesBack === true) expect(decision, where).toBe('went back');
        expect(estate.policy(name).includes(title), where).toBe(decision === 'kept');
        if (decision !== 'kept') expect(estate.runs(name).configuration, where).toBe(before);
        const { reading } = dataOf<{ reading: { alarms: string[] } }>(await estate.run('reading', name));
        // What may still be armed after "not done" brings back what the device holds.
        const armed = reading.alarms.filter((alarm) => alarm.includes('return'));
        if (decision !== 'not done') expect(armed, where).toEqual([]);
      }
    },
  );
});
