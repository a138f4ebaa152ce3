import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Command } from 'commander';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { codeOf } from '#core/errors';
import { type Practice, startPractice } from '#practice';
import type { CliContext, Workbench } from './context.ts';
import { handbookCommand } from './handbook.ts';

const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-handbook-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Runs the command as the program would; `bench` stands for the opened data folder. */
async function run(args: string[], bench?: Partial<Workbench>) {
  let text = '';
  let data: unknown;
  let code = 0;
  const context = {
    out: {
      json: false,
      result: (given: unknown, words: string) => {
        data = given;
        text += words;
      },
      line: () => undefined,
      progress: () => undefined,
      warn: () => undefined,
    },
    workbench: async () => bench as Workbench,
    dataFolder: () => folder,
    exit: (given: number) => {
      code = given;
    },
  } satisfies CliContext;
  const program = new Command().exitOverride();
  handbookCommand(program, context);
  await program.parseAsync(['handbook', ...args], { from: 'user' });
  return { text, data, code };
}

function handbookFile(text: string): string {
  const file = join(folder, 'mine.yaml');
  writeFileSync(file, text);
  return file;
}

const shipped = join(import.meta.dirname, '../../handbooks');

describe('handbook check', () => {
  it('says that a sound handbook is sound', async () => {
    const { text, code } = await run(['check', join(shipped, 'groyne-virtual.yaml')]);
    expect(text).toContain('is sound');
    expect(code).toBe(0);
  });

  it('lists every mistake with file and line, and ends with the code for bad input', async () => {
    const file = handbookFile('handbook: 1\nname: x\nmodels: [Groyne 40]\nslots: 4\ninstal: {}\n');
    const { text, data, code } = await run(['check', file]);
    expect(text).toContain(`${file}:4:`);
    expect(text).toContain('"instal" is not known here. Did you mean "install"?');
    expect((data as { mistakes: unknown[] }).mistakes.length).toBeGreaterThan(3);
    expect(code).toBe(3);
  });

  it('refuses a file that is not there in one sentence', async () => {
    expect(await run(['check', join(folder, 'none.yaml')]).catch(codeOf)).toBe('links/cannot-read');
  });
});

describe('handbook try', () => {
  let practice: Practice;
  beforeAll(async () => {
    practice = await startPractice({ folder: join(folder, 'estate'), only: ['lantern-head-cctv'] });
  });
  afterAll(() => practice.stop());

  const bench = () => {
    const access = practice.devices[0]!;
    const pins: string[] = [];
    const devices = {
      get: async () => ({ ...access, hostKey: null, own: {}, addedAt: '' }),
      secrets: async () => ({ password: access.password, upkeep: access.upkeepWord }),
      pinHostKey: async (_name: string, pin: string) => void pins.push(pin),
    };
    return {
      pins,
      access,
      workbench: { store: { devices }, now: () => '2026-03-01T08:00:00Z' } as unknown as Workbench,
    };
  };

  it('shows what each pattern matched, line by line, and pins the host key', async () => {
    const { workbench, pins, access } = bench();
    const { text, code } = await run(['try', join(shipped, 'groyne-virtual.yaml'), access.name], workbench);
    expect(code).toBe(0);
    expect(text).toMatch(/^identify: read\. lantern-head-cctv is a Groyne V/mu);
    expect(text).toMatch(/^ {6}\d {2}model: Groyne V {2}-> {2}model=Groyne V$/mu);
    expect(text).not.toContain(access.password);
    expect(pins).toEqual([expect.stringContaining(access.hostKey)]);
  });
});
