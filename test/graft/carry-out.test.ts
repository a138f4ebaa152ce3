import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { configurationDigest } from '#archive';
import { numberSet } from '#core/address';
import { codeOf, TuckpointError } from '#core/errors';
import type { NamedFile } from '#links/port';
import {
  type CarryOutOptions,
  carryOut,
  neverBegun,
  type PlannedTarget,
  renderReport,
  resumeRun,
  startRun,
  undoGraft,
} from '#runs';
import { type BenchDevice, configuration, MemoryBench, NEW, OLD, rules, textOf } from './memory-bench.ts';

const names = ['gull-quay-fw1', 'north-mole-fw1', 'lantern-head-fw1', 'sandgate-slip-fw1'] as const;
const [first, second] = names;
const isNew = (files: readonly NamedFile[]) => rulesIn(files) === NEW;
const rulesIn = (files: readonly NamedFile[]) => textOf(files.find(({ name }) => name === 'rules.nft'));

let bench: MemoryBench;
afterEach(() => bench.close());

const never = async (): Promise<never> => {
  throw new Error('This was not to be planned anew.');
};
const graft = (targets: readonly PlannedTarget[], more: Partial<CarryOutOptions> = {}) =>
  carryOut(bench.environment, targets, {
    title: 'graft one rule',
    canary: null,
    width: 1,
    replan: never,
    tell: () => {},
    ...more,
  });
const four = (odd: Partial<BenchDevice> = {}, which: string = second) =>
  MemoryBench.open(...names.map((name) => ({ name, ...(name === which ? odd : {}) })));
const onAll = () => names.map((name) => bench.planned(configuration(NEW), name));

describe('A graft on several devices', () => {
  test('goes to the canary first and alone, then to the others, no more at once than asked for', async () => {
    bench = await four();
    let atWork = 0;
    let most = 0;
    const order: string[] = [];
    const tell: CarryOutOptions['tell'] = (event, device) => {
      if (event.kind === 'begun') {
        order.push(device);
        most = Math.max(most, ++atWork);
        if (order.length === 2) expect(bench.rulesOn('lantern-head-fw1')).toBe(NEW);
      }
      if (event.kind === 'decided') atWork--;
    };
    const done = await graft(onAll(), { canary: 'lantern-head-fw1', width: 2, tell });
    expect(done.stoppedBy).toBeNull();
    expect(done.results.map(({ device, decision }) => [device, decision])).toEqual(
      names.map((name) => [name, 'kept']),
    );
    expect(order[0]).toBe('lantern-head-fw1');
    expect(most).toBe(2);
    for (const name of names) expect(bench.rulesOn(name)).toBe(NEW);
  });

  test('stops at the first surprise: those not begun are named, and untouched', async () => {
    bench = await four({ losesWith: (files) => (isNew(files) ? 50 : 0) });
    const done = await graft(onAll(), { canary: first });
    expect(done.stoppedBy).toBe(second);
    expect(done.results.map(({ decision }) => decision)).toEqual([
      'kept',
      'went back',
      'not begun',
      'not begun',
    ]);
    expect(done.results[2]!.reason).toContain(second);
    expect(names.map((name) => bench.rulesOn(name) === NEW)).toEqual([true, false, false, false]);
    for (const name of names.slice(2)) expect(bench.device(name).faults.calls).toEqual([]);
  });

  test('a canary that does not end well leaves all others unbegun', async () => {
    bench = await four({ locksOut: isNew }, names[3]);
    const done = await graft(onAll(), {
      canary: names[3],
      width: 3,
      accepted: { brokenPromises: true },
    });
    expect(done.results.map(({ decision }) => decision)).toEqual([
      'not begun',
      'not begun',
      'not begun',
      'went back',
    ]);
    expect(done.results[3]!.reason).toContain('let no new connection in');
    expect(done.results[3]!.reason).toContain('it returned by itself');
  });

  test('is stopped by a fault of the workbench itself, once what is at work has come to its end', async () => {
    bench = await four();
    const { store } = bench;
    const journal = new Proxy(store.journal, {
      get: (real, name) => {
        const value: unknown = Reflect.get(real, name);
        if (typeof value !== 'function') return value;
        if (name !== 'write') return value.bind(real);
        return async (...given: unknown[]) => {
          const [lease, line] = given as [{ device: string }, { step: string }];
          if (lease.device === second && line.step === 'apply')
            throw new TuckpointError('store/cannot-write', 'The disk is full.');
          return Reflect.apply(value, real, given);
        };
      },
    });
    const environment = { ...bench.environment, store: { ...store, journal } };
    const options = { title: 'graft', canary: null, width: 2, replan: never, tell: () => {} };
    await expect(carryOut(environment, onAll(), options)).rejects.toMatchObject({
      code: 'store/cannot-write',
    });
    expect(names.map((name) => bench.rulesOn(name) === NEW)).toEqual([true, false, false, false]);
    const [open, ...more] = await store.journal.unfinished();
    expect([open!.device, more]).toEqual([second, []]);
    expect((await resumeRun(bench.environment, open!.id, () => {})).decision).toBe('kept');

    // Those that were never begun are remembered, until the same is asked for again.
    expect(await neverBegun(bench.environment, open!.id)).toMatchObject({
      title: 'graft',
      devices: names.slice(2),
    });
    await carryOut(bench.environment, onAll().slice(2, 3), options);
    expect((await neverBegun(bench.environment, open!.id))!.devices).toEqual([names[3]]);
    await carryOut(bench.environment, onAll().slice(3), options);
    expect(await neverBegun(bench.environment, open!.id)).toBeNull();
  });

  test('asked for again, devices that hold it already have nothing to do', async () => {
    bench = await four();
    const targets = onAll();
    await graft(targets.slice(0, 1));
    const again = await graft(targets, { canary: first });
    expect(again.results.map(({ decision }) => decision)).toEqual(['done', 'kept', 'kept', 'kept']);
    expect(again.results[0]!.reason).toContain('holds this configuration already');
  });

  test('is refused before anything begins when a plan has a problem, or the canary is none of the devices', async () => {
    bench = await four();
    const [target, ...rest] = onAll();
    const bad = { ...target!, problems: [{ sentence: 'Where "web" goes is not clear.' }] };
    await expect(graft([...rest, bad])).rejects.toMatchObject({ code: 'runs/refused' });
    await expect(graft(onAll(), { canary: 'tidewatch-fw1' })).rejects.toMatchObject({ code: 'runs/refused' });
    await expect(graft([target!, target!])).rejects.toMatchObject({ code: 'runs/refused' });
    expect(await bench.store.journal.list()).toEqual([]);
  });
});

describe('A device that changed since it was planned on', () => {
  const theirs = rules('tcp dport 443 accept', 'tcp dport 8443 accept comment "somebody else"');
  const both = rules(
    'tcp dport 443 accept',
    'ip saddr 10.4.0.0/16 udp dport 53 accept',
    'tcp dport 8443 accept comment "somebody else"',
  );
  const changeIt = () => {
    bench.device().runningSlot.configuration = configuration(theirs);
  };

  test('is planned anew, once, and what somebody else did stays', async () => {
    bench = await MemoryBench.open({});
    const target = bench.planned(configuration(NEW));
    changeIt();
    let planned = 0;
    const replan = async () => {
      planned++;
      return bench.planned(configuration(both));
    };
    const { results } = await graft([target], { replan });
    expect(results[0]!.decision, results[0]!.reason).toBe('kept');
    expect(results[0]!.plannedAnew).toBe(true);
    expect(planned).toBe(1);
    expect(bench.rulesOn()).toBe(both);
  });

  test('is left alone when the new plan would do something else than was shown', async () => {
    bench = await MemoryBench.open({});
    const target = bench.planned(configuration(NEW));
    changeIt();
    const { results } = await graft([target], { replan: async () => bench.planned(configuration(NEW)) });
    expect(results[0]!.decision).toBe('not done');
    expect(results[0]!.reason).toContain('than was shown');
    expect(bench.rulesOn()).toBe(theirs);
  });

  test('is left alone when it cannot be planned anew, or changes again', async () => {
    bench = await MemoryBench.open({});
    const target = bench.planned(configuration(NEW));
    changeIt();
    const replan = async () => {
      throw new TuckpointError('config/nothing-selected', '"web" picks nothing.');
    };
    const { results } = await graft([target], { replan });
    expect(results[0]!.decision).toBe('not done');
    expect(results[0]!.reason).toContain('"web" picks nothing');
    const stale = async () => {
      const again = bench.planned(configuration(both));
      bench.device().runningSlot.configuration = configuration(OLD);
      return again;
    };
    changeIt();
    const { results: other } = await graft([target], { replan: stale });
    expect(other[0]!.decision).toBe('not done');
    expect(bench.rulesOn()).toBe(OLD);
    expect(bench.device().faults.calls).not.toContain('apply');
  });
});

describe('A graft on one device', () => {
  test('is kept when the device writes the same in its own words, and says so', async () => {
    const spaced = (text: string) => text.replaceAll('\t', '    ');
    bench = await MemoryBench.open({
      takes: (files) =>
        files.map((file) =>
          file.name === 'rules.nft'
            ? { ...file, bytes: new TextEncoder().encode(spaced(textOf(file))) }
            : file,
        ),
    });
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    expect(result!.decision, result!.reason).toBe('kept');
    expect(result!.reason).toContain('in its own words');
  });

  test('is compared in the language that a mapping file teaches, where the device writes that in its own words', async () => {
    const mapping = `mapping: 1
name: passages
format: braces
recognise: ["passage "]
rules: [{ at: "passage {name}", protocol: by, action: then }]
policy: { paths: [through, to, from], otherwise: accept }
`;
    const old = 'passage a { by udp; then drop; }\n';
    const both = `${old}passage b { by icmp; then drop; }\n`;
    const own = (text: string) => text.replaceAll('{ ', '{\n    ');
    const device = (spoils: string) => ({
      configuration: configuration(old),
      takes: (files: readonly NamedFile[]) =>
        rulesIn(files) === both ? configuration(own(both).replace('icmp', spoils)) : files,
    });
    const languages = { mappings: [{ name: 'passages.yaml', text: mapping }] };
    bench = await MemoryBench.open(device('icmp'));
    const [kept] = (await graft([bench.planned(configuration(both))], { languages })).results;
    expect(kept!.decision, kept!.reason).toBe('kept');
    expect(kept!.reason).toContain('in its own words: no object and no traffic differs');
    await bench.close();
    bench = await MemoryBench.open(device('sctp'));
    const [back] = (await graft([bench.planned(configuration(both))], { languages })).results;
    expect(back!.decision).toBe('went back');
    expect(back!.reason).toContain('otherwise than predicted: rule b changed');
  });

  test('goes back when the device changed something else by it', async () => {
    const other = rules('tcp dport 443 accept', 'ip saddr 10.0.0.0/8 udp dport 53 accept');
    bench = await MemoryBench.open({
      takes: (files) => (isNew(files) ? configuration(other) : files),
    });
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    expect(result!.decision).toBe('went back');
    expect(result!.reason).toContain('otherwise than predicted');
    expect(result!.reason).toContain('The workbench put the configuration from before back.');
    expect(bench.rulesOn()).toBe(OLD);
  });

  test('goes back when a file nobody reads comes out otherwise, unless the word was given', async () => {
    const takes = (files: readonly NamedFile[]) =>
      files.map((file) =>
        file.name === 'banner.txt' && isNew(files) ? { ...file, bytes: new Uint8Array([0, 1, 2]) } : file,
      );
    bench = await MemoryBench.open({ takes });
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    expect(result!.decision).toBe('went back');
    expect(result!.reason).toContain('banner.txt');
    const word = { accepted: { unproved: true } };
    const [again] = (await graft([bench.planned(configuration(NEW))], word)).results;
    expect(again!.decision, again!.reason).toBe('kept');
    expect(again!.reason).toContain('You gave your word');
  });

  test('that would shut the workbench out is refused before anything is touched', async () => {
    bench = await MemoryBench.open({});
    const shut = configuration(OLD.replace('\t\ttcp dport 22 accept\n', ''));
    const [result] = (await graft([bench.planned(shut)])).results;
    expect(result).toMatchObject({ decision: 'not done', failure: 'runs/refused' });
    expect(result!.reason).toContain('The workbench reaches gull-quay-fw1 on port 22');
    expect(bench.device().faults.calls).not.toContain('armReturn');
  });

  test('is refused as well where the way in was open on one interface only', async () => {
    const upkeep = (text: string) => text.replace('tcp dport 22', 'iifname "mgmt" tcp dport 22');
    bench = await MemoryBench.open({ configuration: configuration(upkeep(OLD)) });
    const closed = configuration(OLD.replace('\t\ttcp dport 22 accept\n', ''));
    const [result] = (await graft([bench.planned(closed)])).results;
    expect(result).toMatchObject({ decision: 'not done', failure: 'runs/refused' });
    expect(result!.reason).toContain('The workbench reaches gull-quay-fw1 on port 22');
    // What was shut before on other interfaces is no reason to refuse what leaves it as it is.
    const [kept] = (await graft([bench.planned(configuration(upkeep(NEW)))])).results;
    expect(kept!.decision, kept!.reason).toBe('kept');
  });

  test('that breaks a promise is refused; the word lets it pass, and the report names it', async () => {
    bench = await MemoryBench.open({});
    const promises = [
      {
        words: 'The kiosks never reach a name server',
        must: 'not pass',
        path: 'through',
        families: [4],
        flow: { protocol: numberSet([[17, 17]]), destinationPort: numberSet([[53, 53]]), states: ['new'] },
      },
    ] as const;
    const [refused] = (await graft([bench.planned(configuration(NEW))], { promises })).results;
    expect(refused!.reason).toContain('The kiosks never reach a name server');
    expect(bench.rulesOn()).toBe(OLD);
    const accepted = { brokenPromises: true };
    const [done] = (await graft([bench.planned(configuration(NEW))], { promises, accepted })).results;
    expect(done!.decision, done!.reason).toBe('kept');
    expect(renderReport(done!.report!, 'text')).toContain('The kiosks never reach a name server');
  });

  test('has a report that reads well in each form', async () => {
    bench = await MemoryBench.open({});
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    const text = renderReport(result!.report!, 'text');
    expect(text).toContain('graft one rule');
    expect(text).toContain('The change stays.');
    expect(text).toContain('The device holds what was predicted, byte for byte.');
    expect(text).toContain('The slots hold what was predicted.');
    expect(text).toMatch(/2 promises checked, the way in among them: none is broken/u);
    expect(text).toContain('10.4.0.0/16');
    expect(text).toContain(`tuckpoint graft undo ${result!.run}`);
    const page = renderReport(result!.report!, 'html');
    for (const part of ['Does the device hold what was predicted?', 'Does traffic change its verdict?'])
      expect(page).toContain(part);
    expect(JSON.parse(renderReport(result!.report!, 'json'))).toMatchObject({ decision: 'kept' });
  });

  test('leaves no planned file in clear anywhere, and none at all once it has ended', async () => {
    bench = await MemoryBench.open({ losesWith: (files) => (isNew(files) ? 50 : 0) });
    const secret = 'psk-of-the-tunnel-81d3';
    const files = configuration(NEW, `domain brackwater.example\ntunnel-word ${secret}\n`);
    const { store } = bench;
    const target = bench.planned(files);
    const journal = new Proxy(store.journal, {
      get: (real, name) =>
        name === 'end'
          ? async () => Promise.reject(new TuckpointError('store/killed', 'killed'))
          : Reflect.get(real, name).bind(real),
    });
    const environment = { ...bench.environment, store: { ...store, journal } };
    const goal = { graft: { title: 'graft', group: 'g' }, plannedOn: target.plannedOn };
    const request = { device: target.device, procedure: 'graft', goal, planned: target.after } as const;
    await expect(startRun(environment, request, () => {})).rejects.toMatchObject({ code: 'store/killed' });
    const [run] = await store.journal.list();
    expect(configurationDigest((await store.journal.plannedFiles(run!.id))!)).toBe(
      configurationDigest(files),
    );
    const all = readdirSync(bench.folder, { recursive: true, withFileTypes: true }).filter((e) => e.isFile());
    expect(all.some((entry) => entry.name === 'tuckpoint.db')).toBe(true);
    const holding = all.filter((e) => readFileSync(path.join(e.parentPath, e.name)).includes(secret));
    expect(holding.map(({ name }) => name)).toEqual([]);
    await resumeRun(bench.environment, run!.id, () => {});
    expect(await store.journal.plannedFiles(run!.id)).toBeNull();
  });

  test('finds no room on the device: nothing is done, and nothing stays armed', async () => {
    bench = await MemoryBench.open({
      takes: () => {
        throw new TuckpointError('links/no-space', 'There is no space left on the device.');
      },
    });
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    expect(result).toMatchObject({ decision: 'not done', failure: 'links/no-space' });
    expect(bench.rulesOn()).toBe(OLD);
    expect(bench.device().armed).toBeNull();
  });

  test('finds the disk of the workbench full after it applied: the device goes back, and resume ends it', async () => {
    bench = await MemoryBench.open({});
    const { archive } = bench;
    let free = 1;
    const full = new Proxy(archive, {
      get: (real, name) => {
        const value: unknown = Reflect.get(real, name);
        if (typeof value !== 'function') return value;
        if (name !== 'put') return value.bind(real);
        return async (...given: unknown[]) => {
          if (free-- <= 0) throw new TuckpointError('archive/cannot-write', 'No space is left on the disk.');
          return Reflect.apply(value, real, given);
        };
      },
    });
    const target = bench.planned(configuration(NEW));
    const { environment } = bench;
    const goal = { graft: { title: 'graft', group: 'g' }, plannedOn: target.plannedOn };
    const request = { device: target.device, procedure: 'graft', goal, planned: target.after } as const;
    const done = await startRun({ ...environment, archive: full }, request, () => {});
    expect(done.decision).toBe('stopped');
    expect(done.reason).toContain('No space is left');
    expect(bench.rulesOn()).toBe(OLD);
    const again = await resumeRun(environment, done.run, () => {});
    expect(again.decision, again.reason).toBe('went back');
  });

  test('and another one at the same time: the second is told that the device is busy', async () => {
    bench = await MemoryBench.open({});
    const target = bench.planned(configuration(NEW));
    const [a, b] = await Promise.all([graft([target]), graft([target])]);
    const decisions = [a, b].map(({ results }) => results[0]!);
    const busy = decisions.find(({ failure }) => failure === 'store/device-busy');
    expect(busy).toMatchObject({ decision: 'not done', run: null });
    expect(decisions.find((one) => one !== busy)!.decision).toBe('kept');
    expect(bench.device().faults.calls.filter((call) => call === 'apply')).toHaveLength(1);
  });
});

describe('A kind of device that cannot return by itself', () => {
  const facts = { canArmReturn: false };

  test('needs the explicit word, and then is grafted onto as well', async () => {
    bench = await MemoryBench.open({ facts });
    const [refused] = (await graft([bench.planned(configuration(NEW))])).results;
    expect(refused).toMatchObject({ decision: 'not done', failure: 'runs/refused' });
    expect(refused!.reason).toContain('--accept-no-return');
    const accepted = { noReturn: true };
    const [done] = (await graft([bench.planned(configuration(NEW))], { accepted })).results;
    expect(done!.decision, done!.reason).toBe('kept');
    expect(bench.device().faults.calls).not.toContain('armReturn');
    // The way back stands in the spare slot then.
    expect(rulesIn(bench.device().spareSlot.configuration)).toBe(OLD);
  });

  test('and locks the workbench out: the run stops and says that a person is needed', async () => {
    bench = await MemoryBench.open({ facts, locksOut: isNew });
    const accepted = { noReturn: true, brokenPromises: true };
    const [done] = (await graft([bench.planned(configuration(NEW))], { accepted })).results;
    expect(done!.decision).toBe('stopped');
    expect(done!.reason).toContain('did not come back to its former configuration');
    bench.device().runningSlot.configuration = configuration(OLD);
    const again = await resumeRun(bench.environment, done!.run!, () => {});
    expect(again.decision, again.reason).toBe('went back');
  });
});

describe('Undoing', () => {
  const undo = (id: string) => undoGraft(bench.environment, id, { width: 1, tell: () => {} });

  test('a run puts the configuration from before it back, by a run that proves it', async () => {
    bench = await MemoryBench.open({});
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    const { results } = await undo(result!.run!);
    expect(results[0]!.decision, results[0]!.reason).toBe('kept');
    expect(results[0]!.report!.procedure.title).toContain(result!.run);
    expect(bench.rulesOn()).toBe(OLD);
    // Undone twice, there is nothing left to do.
    expect((await undo(result!.run!)).results[0]!.decision).toBe('done');
  });

  test('a group takes back what was kept of it, on every device', async () => {
    bench = await four({ losesWith: (files) => (isNew(files) ? 50 : 0) }, names[2]);
    const done = await graft(onAll(), { canary: first });
    expect(done.stoppedBy).toBe(names[2]);
    const { results } = await undo(done.group);
    expect(results.map(({ device, decision }) => [device, decision]).sort()).toEqual([
      [first, 'kept'],
      [second, 'kept'],
    ]);
    for (const name of names) expect(bench.rulesOn(name)).toBe(OLD);
  });

  test('of a device that was changed since is refused, and overwrites nothing', async () => {
    bench = await MemoryBench.open({});
    const [result] = (await graft([bench.planned(configuration(NEW))])).results;
    const later = rules('tcp dport 443 accept', 'udp dport 123 accept');
    bench.device().runningSlot.configuration = configuration(later);
    const { results } = await undo(result!.run!);
    expect(results[0]).toMatchObject({ decision: 'not done', failure: 'runs/changed-since-planned' });
    expect(results[0]!.reason).toContain('tuckpoint restore gull-quay-fw1');
    expect(bench.rulesOn()).toBe(later);
  });

  test('of what does not stand, or of no run at all, is bad input', async () => {
    bench = await MemoryBench.open({ losesWith: (files) => (isNew(files) ? 50 : 0) });
    const done = await graft([bench.planned(configuration(NEW))]);
    const code = (work: Promise<unknown>) => work.then(() => 'none', codeOf);
    expect(await code(undo(done.results[0]!.run!))).toBe('runs/refused');
    expect(await code(undo('no-such-run'))).toBe('store/unknown-run');
  });
});
