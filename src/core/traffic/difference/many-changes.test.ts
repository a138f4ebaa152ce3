import { describe, expect, test } from 'vitest';
import type { Match, Policy, Rule } from '../policy.ts';
import { boxesOf } from './boxes.ts';
import { type Diagram, SAME } from './diagram.ts';
import { trafficDifference } from './difference.ts';
import type { Box } from './fields.ts';
import type { LoadedStage } from './load.ts';
import { Regions } from './regions.ts';
import type { BoxContext, View } from './view.ts';

/** One rule per port, each about several addresses: what a set of pairs comes to. */
function pairs(count: number, skips: (n: number) => boolean): Policy {
  const rules: Rule[] = [];
  for (let n = 0; n < count; n++) {
    if (skips(n)) continue;
    const ranges = [0, 1, 2].map((k) => ({ low: [1000 * k + 3 * n], high: [1000 * k + 3 * n] }));
    const match: Match = { source: { family: 4, ranges }, protocol: [6, 6], destinationPort: [n, n] };
    rules.push({ match, action: { verdict: 'drop' }, origin: { file: 'pairs', line: n + 1, text: `${n}` } });
  }
  return {
    pipelines: [{ path: 'through', family: 4, stages: [{ kind: 'filter', name: 'f', rules }] }],
    unread: [],
  };
}

describe('many changed rules at once', () => {
  test('each is a change of its own, with the rule that decided', () => {
    const difference = trafficDifference(
      pairs(400, () => false),
      pairs(400, (n) => n % 2 === 0),
    );
    expect(difference.unresolved).toEqual([]);
    expect(difference.changes.length).toBe(200);
    for (const { rows } of difference.changes) {
      expect(rows.map(({ ruleBefore }) => ruleBefore?.match.destinationPort)).toEqual(
        rows.map(({ destinationPorts }) => destinationPorts),
      );
      expect(rows.every(({ ruleAfter }) => ruleAfter === undefined)).toBe(true);
    }
  });

  test('the work grows with the number of rules, not with its square', () => {
    const workOf = (count: number) =>
      trafficDifference(
        pairs(count, () => false),
        pairs(count, (n) => n % 2 === 0),
      ).work;
    expect(workOf(800)).toBeLessThan(3 * workOf(400));
  });

  test('boxes of all kinds of difference come out of one walk', () => {
    const looks = (kinds: number) => {
      let seen = 0;
      const edges = Array.from({ length: kinds }, (_, n) => ({ child: -1 - n, ranks: Int32Array.of(n, n) }));
      const node = { field: 0, edges };
      const counted = new Proxy([node, node], {
        get: (target, key) => {
          seen += key === '1' ? 1 : 0;
          return Reflect.get(target, key);
        },
      });
      const differences = edges.map(() => ({ before: 0, after: 1, causeBefore: -1, causeAfter: -1 }));
      const diagram = { root: 1, nodes: counted, differences, work: 0 } as unknown as Diagram;
      expect(boxesOf(diagram, 1, 500).map(({ difference }) => difference)).toEqual(edges.map((_, n) => n));
      return seen;
    };
    expect(SAME).toBe(0);
    expect(looks(2000)).toBe(looks(20));
  });

  test('a rule is held against the regions near it alone', () => {
    const looks = (count: number) => {
      let seen = 0;
      const regions = Array.from({ length: count }, (_, n) => {
        const box = [undefined, undefined, undefined, undefined, undefined, undefined, [2 * n, 2 * n]];
        return new Proxy(box, {
          get: (target, key) => {
            seen++;
            return Reflect.get(target, key);
          },
        }) as Box;
      });
      const near = new Regions(regions, {} as BoxContext);
      const hulls = Float64Array.of(
        0,
        2 ** 32,
        0,
        2 ** 32,
        0,
        255,
        10,
        10,
        0,
        2 ** 32,
        0,
        2 ** 32,
        0,
        255,
        11,
        11,
      );
      const stage = { hulls } as unknown as LoadedStage;
      const view = { chosen: [] } as unknown as View;
      seen = 0;
      const port = (n: number): Box => [...new Array<undefined>(6).fill(undefined), [n, n]];
      expect(near.overlap(stage, 0, view, port(10))).toBe(true);
      expect(near.overlap(stage, 1, view, port(11))).toBe(false);
      return seen;
    };
    expect(looks(2000)).toBe(looks(20));
  });
});
