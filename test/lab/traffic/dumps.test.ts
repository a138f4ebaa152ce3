import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { trafficDifference } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { compareWithKernel, report } from './compare.ts';
import { drawPackets } from './draw.ts';
import { packetsAround, unique } from './from-rows.ts';
import { Gateway } from './gateway.ts';
import { Random } from './random.ts';

/**
 * The nftables project's own rulesets, where they are at hand: TUCKPOINT_REFERENCE names a folder that holds them
 * under `nftables`.
 */
const folder = path.join(process.env.TUCKPOINT_REFERENCE ?? '', 'nftables');
const here = process.env.TUCKPOINT_REFERENCE !== undefined && existsSync(folder);
if (!here)
  console.log(
    "Left out: the nftables project's own rulesets; set TUCKPOINT_REFERENCE to the folder that holds them.",
  );

/** A gateway that lets everything pass. */
const OPEN = 'table inet open { chain forward { type filter hook forward priority filter; } }';

describe.runIf(here)('every ruleset of the nftables project that the kernel loads', () => {
  let gateway: Gateway;
  let texts: readonly (readonly [name: string, text: string])[];
  beforeAll(() => {
    gateway = new Gateway('dumps');
    texts = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.nft'))
      .sort()
      // What steers packets through the gateway would be flushed as well.
      .map((name) => [name, readFileSync(path.join(folder, name), 'utf8').replace(/^flush ruleset$/m, '')]);
  });
  afterAll(() => gateway?.close());

  const loads = (text: string): boolean => {
    try {
      gateway.load(text);
      return true;
    } catch {
      return false;
    }
  };

  it('is read whole, or what is not read is named', () => {
    let loaded = 0;
    let whole = 0;
    let statements = 0;
    const named: string[] = [];
    const lost: string[] = [];
    for (const [name, text] of texts) {
      if (!loads(text)) continue;
      loaded++;
      const read = nftables.read([{ name, text }]);
      nftables.policy(read);
      // Chains without a name (`jump { … }`) are not in the kernel's listing.
      const rules = read.objects.filter(
        (object) => object.order !== null && !object.order.list.includes('{'),
      ).length;
      statements += rules;
      // The kernel's own count of rules says whether one was silently lost.
      const kernel = (JSON.parse(gateway.list(true)) as { nftables: Record<string, unknown>[] }).nftables;
      const real = kernel.filter((item) => 'rule' in item).length;
      if (rules !== real) lost.push(`${name}: ${rules} rules read, ${real} loaded`);
      if (read.opaque.length === 0) whole++;
      for (const part of read.opaque) named.push(`${name}:${part.place.line}: ${part.text} (${part.why})`);
    }
    console.log(
      `${texts.length} rulesets, ${loaded} load into the kernel; of those ${whole} are read whole (${statements} rules), ` +
        `${named.length} statements are named as not read\n${[...named, ...lost].join('\n')}`,
    );
    expect(loaded).toBeGreaterThan(100);
    expect(lost).toEqual([]);
  });

  it('decides on packets as we do: in the rows of what it changes on an open gateway, beside them, and drawn ones', () => {
    const open = nftables.policy(nftables.read([{ name: 'open.nft', text: OPEN }]))!;
    const random = new Random(5);
    const wrong: string[] = [];
    let compared = 0;
    let sent = 0;
    for (const [name, text] of texts) {
      if (!loads(text)) continue;
      const policy = nftables.policy(nftables.read([{ name, text }]));
      if (policy === null) continue;
      const { rows } = trafficDifference(open, policy);
      const packets = unique([
        ...random.some(rows, 40, 40).flatMap((row) => packetsAround(random, row, 25)),
        ...drawPackets(random, 150),
      ]);
      compared++;
      sent += packets.length;
      const differing = report(
        text,
        compareWithKernel(gateway, () => gateway.load(text), policy, packets),
      );
      if (differing !== '') wrong.push(`${name}: ${differing}`);
    }
    console.log(`${compared} rulesets decide on ${sent} packets as the kernel does, but for ${wrong.length}`);
    expect(wrong).toEqual([]);
    expect(compared).toBeGreaterThan(100);
  }, 1_200_000);
});
