import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import { estate } from '../estate/estate.ts';
import { objectsOf } from './objects.ts';
import { policyOf } from './policy.ts';

const policies = estate.devices.flatMap((device) =>
  (['newer', 'older'] as const).map((age) => ({ device, age, text: policyOf(device, '1.0.0', age) })),
);
/** Lines of a chain that decide or send on: everything but the line that hooks the chain in. */
const rules = (text: string) =>
  text
    .split('\n')
    .filter((line) => /^\t\t(?!type|flags|comment|elements)\S/.test(line) && !/ hook /.test(line));

describe('the policies of the estate', () => {
  it('have a sensible number of rules', () => {
    for (const { text } of policies) {
      expect(rules(text).length).toBeGreaterThanOrEqual(38);
      expect(rules(text).length).toBeLessThanOrEqual(120);
    }
  });

  it('name no set that is not there', () => {
    for (const { text } of policies) {
      const sets = new Set([...text.matchAll(/^\tset (\w+) \{$/gm)].map((found) => found[1]));
      for (const [, used] of text.matchAll(/@(\w+)/g)) expect(sets).toContain(used);
    }
  });

  it('share object groups between sites, and differ in local networks', () => {
    const [one, other] = ['gull-quay-fw1', 'sandgate-slip-fw1'].map((name) =>
      objectsOf(estate.devices.find((device) => device.name === name)!),
    );
    const set = (sets: typeof one, name: string) => sets!.find((each) => each.name === name)?.elements;
    expect(set(one, 'ticket_servers')).toEqual(set(other, 'ticket_servers'));
    expect(set(one, 'ticket_desks')).not.toEqual(set(other, 'ticket_desks'));
  });

  it('use invented addresses only', () => {
    // RFC 5737 and RFC 3849 documentation networks, RFC 1918 10/8; loopback and multicast stand in a set of refused sources.
    const allowed = /^(10\.|192\.0\.2\.|198\.51\.100\.|203\.0\.113\.|127\.0\.0\.0$|224\.0\.0\.0$)/;
    for (const { text } of policies) {
      for (const [address] of text.matchAll(/\b\d+\.\d+\.\d+\.\d+/g)) expect(address).toMatch(allowed);
      for (const [address] of text.matchAll(/\b2001:[\da-f:]+/g)) expect(address).toMatch(/^2001:db8:/);
    }
  });

  // Source: the program nft, which loads each policy for real in a network namespace of its own.
  const inNamespace = spawnSync('unshare', ['-n', 'nft', 'list', 'ruleset']).status === 0;
  it.runIf(inNamespace)('load into a kernel', () => {
    for (const { device, age, text } of policies) {
      const loaded = spawnSync('unshare', ['-n', 'nft', '-f', '-'], { input: text, encoding: 'utf8' });
      expect({ device: device.name, age, said: loaded.stderr }).toEqual({
        device: device.name,
        age,
        said: '',
      });
    }
  });
});
