import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { nftables } from '#dialects/nftables';
import { Gateway } from './gateway.ts';

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

describe.runIf(here)('every ruleset of the nftables project that the kernel loads', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('dumps');
  });
  afterAll(() => gateway?.close());

  it('is read whole, or what is not read is named', () => {
    const files = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.nft'))
      .sort();
    let loaded = 0;
    let whole = 0;
    let statements = 0;
    const named: string[] = [];
    const lost: string[] = [];
    for (const name of files) {
      const text = readFileSync(path.join(folder, name), 'utf8');
      try {
        gateway.load(text);
      } catch {
        continue;
      }
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
      `${files.length} rulesets, ${loaded} load into the kernel; of those ${whole} are read whole (${statements} rules), ` +
        `${named.length} statements are named as not read\n${[...named, ...lost].join('\n')}`,
    );
    expect(loaded).toBeGreaterThan(100);
    expect(lost).toEqual([]);
  });
});
