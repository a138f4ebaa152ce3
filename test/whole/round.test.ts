import { afterAll, beforeAll, expect, test } from 'vitest';
import { Estate } from './estate.ts';
import { dataOf } from './workbench.ts';

let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start(['gull-quay-fw1', 'lantern-head-cctv']);
});
afterAll(async () => {
  await estate.stop();
});

test('a round captures and reads every device, and what is missing on the way back is a concern', async () => {
  expect(dataOf(await estate.run('concerns'))).toMatchObject([
    { device: 'gull-quay-fw1', weight: 'now', reason: 'It has never been captured.' },
    { device: 'lantern-head-cctv', weight: 'now', reason: 'It has never been captured.' },
  ]);
  expect(dataOf(await estate.run('archive', 'status'))).toMatchObject([
    { device: 'gull-quay-fw1', captures: 0, lastCapture: null, lastRehearsed: null },
    { device: 'lantern-head-cctv', captures: 0, lastCapture: null, lastRehearsed: null },
  ]);
  const round = await estate.run('round');
  expect(dataOf(round)).toMatchObject({
    devices: [
      { device: 'gull-quay-fw1', decision: 'done', capture: expect.any(String) as string },
      { device: 'lantern-head-cctv', decision: 'done', capture: expect.any(String) as string },
    ],
    concerns: [{ device: 'gull-quay-fw1', weight: 'soon', next: 'tuckpoint slots keep gull-quay-fw1' }],
  });
  expect(round.code).toBe(1);
  await estate.run('slots', 'keep', 'gull-quay-fw1');
  const after = await estate.run('concerns');
  expect(after.code).toBe(0);
  expect(dataOf(after)).toEqual([]);
});

test('a device that cannot be reached is a concern, and does not stop the round', async () => {
  estate.practice.device('gull-quay-fw1').unreachableFor(60_000);
  const round = await estate.run('round');
  expect(dataOf(round)).toMatchObject({
    devices: [
      { device: 'gull-quay-fw1', decision: 'not done', capture: null },
      { device: 'lantern-head-cctv', decision: 'done' },
    ],
    concerns: [{ device: 'gull-quay-fw1', weight: 'now' }],
  });
});
