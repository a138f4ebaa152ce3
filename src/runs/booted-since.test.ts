import { expect, test } from 'vitest';
import { bootedSince } from './booted-since.ts';

test('another boot id is a boot, whatever the uptime says', () => {
  expect(bootedSince({ boot: 'a', uptimeSeconds: 5 }, { boot: 'b', uptimeSeconds: 9 })).toBe(true);
  expect(bootedSince({ boot: 'a', uptimeSeconds: 9 }, { boot: 'a', uptimeSeconds: 5 })).toBe(false);
});

test('without boot ids an uptime that fell is a boot, and one that grew is none', () => {
  expect(bootedSince({ boot: null, uptimeSeconds: 900 }, { boot: null, uptimeSeconds: 3 })).toBe(true);
  expect(bootedSince({ boot: null, uptimeSeconds: 900 }, { boot: null, uptimeSeconds: 901 })).toBe(false);
});

test('without anything to tell it by, no boot is claimed', () => {
  expect(bootedSince({ boot: null, uptimeSeconds: null }, { boot: null, uptimeSeconds: 3 })).toBe(false);
  expect(bootedSince(undefined, { boot: 'a', uptimeSeconds: 3 })).toBe(false);
});
