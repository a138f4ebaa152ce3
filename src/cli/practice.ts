import { readFileSync } from 'node:fs';
import path from 'node:path';
import type { Command } from 'commander';
import type { Practice, PracticeAccess, ReleaseFault } from '#practice';
import { resumeRun, startRun } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { practicePrompt } from './practice-prompt.ts';
import { progressTeller } from './progress.ts';
import { chooseRelease } from './release-file.ts';
import { writeReport } from './run-result.ts';

interface Options {
  once?: boolean;
  only?: string[];
}

/** `practice`: starts the practice estate, carries out the main job twice before the user's eyes, and stays. */
export function practiceCommand(program: Command, context: CliContext): void {
  program
    .command('practice')
    .description(
      'start the practice estate (simulated devices), update two of them, and stay for you to try things',
    )
    .option('--once', 'end after the two updates')
    .option('--only <device...>', 'start only these devices or sites (then nothing is updated)')
    .action(async (options: Options) => {
      const { startPractice } = await import('#practice');
      const folder = path.join(context.dataFolder(), 'practice');
      context.out.line(
        'Starting the practice estate: Brackwater Line, an invented ferry operator. Its devices are simulated.',
      );
      const practice = await startPractice({
        folder,
        ...(options.only === undefined ? {} : { only: options.only }),
      });
      try {
        await takeIntoCare(context, practice);
        if (options.only === undefined) await mainJob(context, practice, folder);
        if (options.once !== true) await practicePrompt(context);
      } finally {
        await practice.stop();
      }
    });
}

async function takeIntoCare(context: CliContext, practice: Practice): Promise<void> {
  const bench = await context.workbench();
  for (const device of practice.devices) {
    const { name, site, handbook, address, port, user, upkeepWord } = device;
    const secrets = { privateKey: readFileSync(device.key, 'utf8'), upkeep: upkeepWord };
    await bench.store.devices.put(
      { name, site, handbook, address, port, user, own: {}, secrets },
      bench.now(),
    );
  }
  context.out.line(
    `${practice.devices.length} devices are in your care, each with an SSH server on 127.0.0.1.`,
  );
}

/** One good update, which is kept, and one update of a faulty release, which is taken back. */
async function mainJob(context: CliContext, practice: Practice, folder: string): Promise<void> {
  const bench = await context.workbench();
  for (const run of await bench.store.journal.unfinished()) {
    context.out.line(`\nAn earlier run was interrupted; going on with it first.`);
    await resumeRun(bench.runs, run.id, progressTeller(context.out));
  }
  const [good, bad] = ['gull-quay-fw1', 'lantern-head-fw1'].map((n) =>
    practice.devices.find((d) => d.name === n),
  );
  if (good === undefined || bad === undefined) return;
  const results = [
    await show(context, practice, folder, good, 'a good release'),
    await show(context, practice, folder, bad, 'a faulty release, which loses packets once it runs', {
      kind: 'packet-loss',
      percent: 12,
    }),
  ];
  const asMeant = results[0] === 'kept' && results[1] === 'went back';
  if (!asMeant) context.exit(ExitCode.failed);
}

async function show(
  context: CliContext,
  practice: Practice,
  folder: string,
  device: PracticeAccess,
  what: string,
  fault?: ReleaseFault,
) {
  const { makePracticeImage } = await import('#practice');
  const bench = await context.workbench();
  const control = practice.device(device.name);
  const present = control.slots().find((slot) => slot.running)?.release ?? '1.0.0';
  const release = nextMinor(present);
  const out = path.join(
    folder,
    'releases',
    `${device.model.toLowerCase().replace(' ', '-')}-${release}${fault === undefined ? '' : '-faulty'}.img`,
  );
  const image = await makePracticeImage({
    out,
    release,
    models: [device.model],
    from: present,
    ...(fault === undefined ? {} : { fault }),
  });
  context.out.line(`\nUpdating ${device.name} (${device.model}) from ${present} to ${release}: ${what}.`);
  context.out.line(`  tuckpoint update ${device.name} --to ${image.sheet}`);
  const goal = { release: await chooseRelease(image.sheet) };
  const done = await startRun(
    bench.runs,
    { device: device.name, procedure: 'update', goal },
    progressTeller(context.out),
  );
  const page = path.join(bench.folder, 'reports', `${done.run}.html`);
  await writeReport(page, done.report);
  context.out.line(`Report: ${page}`);
  return done.decision;
}

function nextMinor(release: string): string {
  const [major = '1', minor = '0'] = release.split('.');
  return `${major}.${Number(minor) + 1}.0`;
}
