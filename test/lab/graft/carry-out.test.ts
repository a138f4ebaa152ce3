import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { parseAddress } from '#core/address';
import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { type Packet, rowContains } from '#core/traffic';
import { readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import { openWorkbench } from '#main';
import {
  type CarryOutOptions,
  carryOut,
  type GroupResult,
  type PlannedTarget,
  planTarget,
  prepareGraft,
  type RunEvent,
  startRun,
  type TargetPlan,
  undoGraft,
} from '#runs';
import { type Gateway, whyNoLab } from '../../../lab/index.ts';
import { ask, tell } from '../login.ts';
import { drawPackets } from '../traffic/draw.ts';
import { packetsAround, unique } from '../traffic/from-rows.ts';
import { type Observed, observe } from '../traffic/oracle.ts';
import { Random } from '../traffic/random.ts';
import { LabBench } from '../update/lab-bench.ts';
import { expectAllPasses } from '../update/real-packets.ts';
import { asAnswers } from './answers.ts';
import { forOracle, onReal, RealLegs } from './real-legs.ts';

const NFT = 'nftables.conf';
/** What the source has and the gateways lack: two sets, the two rules that need them, and three more. */
const SETS = `	set name_servers {
		type ipv4_addr
		flags interval
		elements = { 10.53.0.53, 10.53.8.0/21 }
	}

	set kiosks {
		type ipv4_addr
		flags interval
		elements = { 172.20.0.0/16 }
	}

`;
const RULES = `		iifname "inside" oifname "dmz" ip saddr @kiosks ip daddr @name_servers udp dport 53 accept comment "kiosks ask names"
		iifname "outside" oifname "dmz" ip saddr 192.0.2.0/25 tcp dport 8000-8009 accept comment "builders of the quay"
`;
/** These come to stand before all others, so that answers and errors of connections are theirs to decide as well. */
const FIRST = `		ip saddr 10.60.0.0/22 drop comment "network given up"
		ip6 saddr 2001:db8:60::/64 icmpv6 type { destination-unreachable, packet-too-big, echo-reply } drop comment "tunnel given up"
`;
const PINGS = `		iifname "dmz" oifname "outside" ip6 saddr 2001:db8:40::/56 icmpv6 type echo-request accept comment "depot may ask"
`;
const COMMENTS = [...`${FIRST}${RULES}${PINGS}`.matchAll(/comment "([^"]+)"/gu)].map(([, words]) => words!);
const withParts = (text: string) =>
  text
    .replace(/(chain forward \{\n.*\n)/u, `$1${FIRST}`)
    .replace('\tchain input {', `${SETS}\tchain input {`)
    .replace(/(\t\tcounter comment "refused between)/u, `${RULES}${PINGS}$1`);

/** Grafts on real gateways; what is said of traffic is asked of the kernel, with real packets. */
describe.skipIf(whyNoLab() !== null)('A graft on real gateways', { timeout: 300_000 }, () => {
  let bench: LabBench;
  let main: Awaited<ReturnType<typeof openWorkbench>>;
  const names: string[] = [];
  const of = (index: number): Gateway => bench.lab.gateways[index]!;

  beforeAll(async () => {
    bench = await LabBench.start({ count: 3 });
    // A shorter limit for commands, and so a shorter time until a gateway returns by itself.
    const edit = (text: string) => text.replace('command: 20s', 'command: 7s');
    for (const gateway of bench.lab.gateways) names.push(await bench.care(gateway, { edit }));
    process.env.TUCKPOINT_KEY_FILE = join(bench.folder, 'key.txt');
    main = await openWorkbench(bench.data, {
      json: true,
      result() {},
      line() {},
      progress() {},
      warn() {},
    });
    for (const device of names)
      await startRun(main.runs, { device, procedure: 'capture', goal: {} }, () => {});
  }, 120_000);
  afterAll(async () => {
    await main?.close();
    await bench?.stop();
  }, 60_000);

  const lastFiles = async (name: string) => {
    const last = (await main.archive.list(name)).at(-1)!;
    return (await main.archive.get(last.id)).files;
  };
  const textIn = (files: readonly NamedFile[]) =>
    Buffer.from(files.find(({ name }) => name === NFT)!.bytes).toString();
  const edited = (files: readonly NamedFile[], edit: (text: string) => string): NamedFile[] =>
    files.map((file) => (file.name === NFT ? { ...file, bytes: Buffer.from(edit(textIn(files))) } : file));

  /** The graft of those rules, with what they need, planned for a gateway on its last capture. */
  async function planFor(name: string): Promise<TargetPlan> {
    const source = readCapture(edited(await lastFiles(names[0]!), withParts));
    const take = COMMENTS.map((comment) => readSelector(`rule:"${comment}"`));
    const decide = decisionRule([readDecision('stop')]);
    const wish = { take, decide, anchor: readAnchor('neighbours'), matchMay: () => false, placeholders: [] };
    const device = await main.store.devices.get(name);
    const facts = await main.runs.deviceFacts(device);
    const files = await lastFiles(name);
    const fill = () => undefined;
    return planTarget(prepareGraft(source, wish), { device, facts, files, fill, promises: [], way: null });
  }

  const carry = (targets: readonly PlannedTarget[], more: Partial<CarryOutOptions> = {}) =>
    carryOut(main.runs, targets, {
      title: 'graft five rules and two sets',
      canary: null,
      width: 1,
      replan: planFor,
      tell: () => {},
      ...more,
    });
  const decisions = ({ results }: GroupResult) =>
    results.map(({ decision, reason }) => `${decision} ${reason}`);
  const prints = (index: number) => ask(of(index), 'slotctl list');
  const running = (list: string) => list.split('\n').find((line) => line.includes(' running'))!;

  test('changes for packets what was predicted, border packets included, and nothing else', async () => {
    // The third: its own networks are none of those that packets are drawn from.
    const plan = await planFor(names[2]!);
    expect(plan.problems).toEqual([]);
    const rows = plan.traffic!.rows;
    expect(rows.length).toBeGreaterThan(1);
    const random = new Random(4711);
    const around = rows.map((row) => packetsAround(random, forOracle(row), 250));
    const packets = unique([
      ...around.flat(),
      ...asAnswers(
        random,
        around.flatMap((some) => random.some(some, 50, 50)),
      ),
      ...drawPackets(random, 700),
    ]).filter(
      (packet) => canBeTold(packet) && (!isOwn(of(2), packet) || opensPublished(of(2), onReal(packet))),
    );
    const legs = new RealLegs(of(2));
    const own = legs.rules();
    const first = observe(legs, () => legs.steer(), packets);
    legs.unsteer();
    // Other rules stood there while connections were opened.
    expect(legs.rules()).toBe(own);
    const done = await carry([plan]);
    expect(decisions(done)[0]).toMatch(/^kept/u);
    const second = observe(legs, () => legs.steer(), packets);
    legs.unsteer();

    const passes = ({ verdict }: Observed) => verdict === 'accept';
    let [inRows, changed] = [0, 0];
    const kinds = new Map<string, number>();
    const wrong: unknown[] = [];
    for (const [i, packet] of packets.entries()) {
      const real = onReal(packet);
      const seen = opensPublished(of(2), real) ? { ...real, conditions: ['ct status dnat'] } : real;
      const row = rows.find((candidate) => rowContains(candidate, seen));
      const [was, is] = [passes(first[i]!), passes(second[i]!)];
      if (row !== undefined) {
        inRows++;
        const kind = `${packet.state} ${packet.protocol === 58 ? `icmpv6 ${packet.icmpType}` : packet.family}`;
        kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
      }
      if (was !== is) changed++;
      const fits =
        row === undefined
          ? was === is
          : was === (row.before.verdict === 'accept') && is === (row.after.verdict === 'accept');
      if (!fits) wrong.push({ packet, was: first[i], is: second[i], row: row?.after });
    }
    expect(wrong.slice(0, 3)).toEqual([]);
    // The check means something only if packets of the rows, and many beside them, were sent.
    expect(inRows).toBeGreaterThan(40);
    expect(changed).toBe(inRows);
    expect(packets.length - inRows).toBeGreaterThan(500);
    for (const kind of ['established 4', 'related 4', 'established icmpv6 129', 'new icmpv6 128'])
      expect(kinds.get(kind), kind).toBeGreaterThan(5);
    for (const kind of ['related icmpv6 1', 'related icmpv6 2'])
      expect(kinds.get(kind), kind).toBeGreaterThan(2);
    // The other errors about connections stay as they were.
    for (const kind of ['related icmpv6 3', 'related icmpv6 4']) {
      expect(kinds.get(kind), kind).toBeUndefined();
      expect(packets.some((packet) => `${packet.state} icmpv6 ${packet.icmpType}` === kind)).toBe(true);
    }
    expect(done.results[0]!.report!.traffic!.rows).toHaveLength(rows.length);

    // What the kernel lists reads as the file that was predicted does: the same sets and rules.
    const listed = await ask(of(2), 'nft list ruleset');
    for (const word of [...COMMENTS, '10.53.8.0/21', '172.20.0.0/16']) expect(listed).toContain(word);
    await expectAllPasses(of(2));

    // Undone, the gateway holds byte for byte what it held, and the packets fare as before.
    const undone = await undoGraft(main.runs, done.group, { width: 1, tell: () => {} });
    expect(decisions(undone)[0]).toMatch(/^kept/u);
    const third = observe(legs, () => legs.steer(), packets);
    legs.unsteer();
    expect(third.map(passes)).toEqual(first.map(passes));
    expect(textIn(await lastFiles(names[2]!))).toBe(textIn(plan.before));
  });

  test('that locks the workbench out is taken back by the gateway itself, within the time it was given', async () => {
    const before = await prints(0);
    const files = await lastFiles(names[0]!);
    // No login, and no answer to what is established: as when a hand slips.
    const shut = edited(files, (text) =>
      text
        .replace('\t\tiifname "mgmt" tcp dport 22 accept\n', '')
        .replace(/(chain input \{[^}]*?)\t\tct state established,related accept\n/u, '$1'),
    );
    expect(textIn(shut)).not.toContain('dport 22 accept');
    const plan = { ...(await planFor(names[0]!)), after: shut };
    const refused = await carry([plan]);
    expect(decisions(refused)[0]).toMatch(/^not done .*The workbench reaches/u);
    expect(await prints(0)).toBe(before);

    let locked: Promise<boolean> | null = null;
    const watch = (event: RunEvent) => {
      if (event.kind === 'step' && event.step === 'apply' && event.state === 'started')
        locked ??= refusesLogins(of(0));
    };
    const done = await carry([plan], { tell: watch, accepted: { brokenPromises: true } });
    expect(decisions(done)[0]).toMatch(/^went back/u);
    expect(await locked).toBe(true);
    expect(done.results[0]!.reason).toContain('it returned by itself');
    // The spare holds a copy of it now: nothing was known of what it held.
    expect(running(await prints(0))).toBe(running(before));
    // The gateway wrote down when it went back by itself; the workbench had no way in to do it.
    const log = await ask(of(0), 'cat /run/return.log; stat -c %Y /run/return.log');
    expect(log).toContain('is back');
    const run = await main.store.journal.get(done.results[0]!.run!);
    const armedUntil = Date.parse((run.facts as { armedUntil: string }).armedUntil);
    const returned = Number(log.trim().split('\n').at(-1)) * 1000;
    // That its time is kept is what is tested; the gateway counts whole seconds, and loading takes some.
    expect(returned).toBeGreaterThanOrEqual(armedUntil - 2000);
    expect(returned).toBeLessThanOrEqual(armedUntil + 15_000);
    expect(await ask(of(0), 'slotctl return-state')).toBe('not armed\n');
    await expectAllPasses(of(0));
  });

  test('goes to the canary first, then to two at once; undone, all three are as before', async () => {
    const before = await Promise.all(names.map((_, i) => prints(i)));
    const plans = await Promise.all(names.map(planFor));
    const events: string[] = [];
    const done = await carry(plans, {
      canary: names[1]!,
      width: 2,
      tell: (event, device) => {
        if (event.kind === 'begun' || event.kind === 'decided') events.push(`${event.kind} ${device}`);
      },
    });
    expect(decisions(done).map((text) => text.slice(0, 4))).toEqual(['kept', 'kept', 'kept']);
    expect(events.slice(0, 2)).toEqual([`begun ${names[1]}`, `decided ${names[1]}`]);
    expect(events.slice(2, 4).sort()).toEqual([`begun ${names[0]}`, `begun ${names[2]}`].sort());
    for (const i of names.keys()) expect(await ask(of(i), 'nft list ruleset')).toContain('kiosks ask names');

    const undone = await undoGraft(main.runs, done.group, { width: 3, tell: () => {} });
    expect(undone.stoppedBy).toBeNull();
    const now = await Promise.all(names.map((_, i) => prints(i)));
    expect(now.map(running)).toEqual(before.map(running));
  });

  test('that the canary cannot load stops there: the gateway says why, and no other one is touched', async () => {
    const before = await Promise.all(names.map((_, i) => prints(i)));
    const plans = await Promise.all(names.map(planFor));
    const bad = {
      ...plans[2]!,
      after: edited(plans[2]!.after, (text) => `${text}\nadd rule inet nowhere x drop\n`),
    };
    const done = await carry([plans[0]!, plans[1]!, bad], { canary: names[2]!, width: 2 });
    expect(done.results.map(({ decision }) => decision)).toEqual(['not begun', 'not begun', 'not done']);
    expect(done.results[2]!.reason).toContain('does not load');
    expect(await Promise.all(names.map((_, i) => prints(i)))).toEqual(before);
    expect(await ask(of(2), 'slotctl return-state')).toBe('not armed\n');
  });
});

/** Does it come to pass, within a while, that OpenSSH's own client is not let in any more? */
async function refusesLogins(gateway: Gateway): Promise<boolean> {
  for (let tries = 0; tries < 30; tries++) {
    if ((await tell(gateway, 'true')).status !== 0) return true;
    await sleep(500);
  }
  return false;
}

/** Does the packet open a connection to the service that the gateway publishes, and so is led into the dmz? */
function opensPublished({ plan }: Gateway, packet: Packet): boolean {
  const { inInterface, destination, destinationPort, protocol, state } = packet;
  const published = String(parseAddress(plan.legs.outside.gateway4)) === String(destination);
  return (
    published && state === 'new' && inInterface === 'outside' && protocol === 6 && destinationPort === 443
  );
}

/** Is an end of the packet the gateway itself? No connection through it has such an end. */
function isOwn({ plan }: Gateway, { source, destination, path }: Packet): boolean {
  const own = Object.values(plan.legs).flatMap(({ gateway4, gateway6 }) => [gateway4, gateway6]);
  const addresses = own.map((text) => String(parseAddress(text)));
  return path === 'through' && [source, destination].some((end) => addresses.includes(String(end)));
}

/** What a rule lets pass at a rate is decided by the clock: pings from outside, in IPv6. */
function canBeTold({ protocol, icmpType, inInterface, path }: Packet): boolean {
  return !(protocol === 58 && icmpType === 128 && path === 'through' && inInterface === 'wan0');
}
