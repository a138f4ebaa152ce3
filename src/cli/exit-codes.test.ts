import { expect, it } from 'vitest';
import { ExitCode, exitCodeFor } from './exit-codes.ts';

it.each([
  'archive/wrong-key',
  'archive/bad-key',
  'archive/no-key',
  'archive/bad-rule',
  'archive/bad-recurrence',
  'archive/bad-import',
  'archive/bad-name',
  'archive/bad-capture',
  'archive/protected',
  'archive/not-an-archive',
  'store/only-delivers',
  'server/bad-certificate',
])('%s is bad input', (code) => {
  expect(exitCodeFor(code)).toBe(ExitCode.badInput);
});

it.each(['archive/damaged', 'archive/write-failed', 'archive/busy', 'server/cannot-listen'])(
  '%s is a failure',
  (code) => {
    expect(exitCodeFor(code)).toBe(ExitCode.failed);
  },
);
