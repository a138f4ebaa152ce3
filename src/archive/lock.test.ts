import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'libsql';
import { afterEach, expect, it } from 'vitest';
import { WriterLock } from './lock.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'lock-'));
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('is opened and waited for while another holds it, and leaves no file beside it', async () => {
  const other = new Database(path.join(folder, 'lock'));
  other.exec('BEGIN EXCLUSIVE');
  const lock = new WriterLock(folder);
  const steps: string[] = [];
  const turn = lock.alone(async () => {
    steps.push('taken');
    expect(readdirSync(folder)).toEqual(['lock']);
  });
  await new Promise((resolve) => setTimeout(resolve, 20));
  steps.push('let go');
  other.exec('ROLLBACK');
  await turn;
  expect(steps).toEqual(['let go', 'taken']);
  await lock.close();
  other.close();
});
