import { existsSync } from 'node:fs';
import { mkdir, writeFile } from 'node:fs/promises';
import path from 'node:path';
import type { Command } from 'commander';
import {
  type CaptureRecord,
  insideOf,
  noteVerified,
  reindexArchive,
  standing,
  tidy,
  type VerifyReport,
  verifyArchive,
} from '#archive';
import { archiveKeepingCommands } from './archive-keeping.ts';
import { archiveKeyCommands } from './archive-key.ts';
import { archiveRehearseCommand } from './archive-rehearse.ts';
import { archiveReplicaCommands } from './archive-replica.ts';
import { archiveSharingCommands } from './archive-sharing.ts';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { table } from './table.ts';

/** `archive …`: what the archive holds, whether it is good, and everything that is done with it as a whole. */
export function archiveCommand(program: Command, context: CliContext): void {
  const archive = program.command('archive').description('the captures at rest');
  listCommand(archive, context);
  showCommand(archive, context);
  statusCommand(archive, context);
  checkCommands(archive, context);
  archiveRehearseCommand(archive, context);
  archiveKeepingCommands(archive, context);
  archiveSharingCommands(archive, context);
  archiveReplicaCommands(archive, context);
  archiveKeyCommands(archive, context);
}

const sizeOf = (record: CaptureRecord) => record.files.reduce((sum, file) => sum + file.size, 0);

function listCommand(archive: Command, context: CliContext): void {
  archive
    .command('list [device]')
    .description('captures, oldest first; of one device, or of all')
    .action(async (device: string | undefined) => {
      const bench = await context.workbench();
      const records = await bench.archive.list(device);
      const { catalogue } = insideOf(bench.archive);
      context.out.result(
        records.map((record) => ({ ...record, name: catalogue.nameOf(record.id) })),
        records.length === 0
          ? 'No capture yet.'
          : table(
              ['capture', 'device', 'taken', 'by', 'release', 'bytes', 'name'],
              records.map((r) => [
                r.id,
                r.device,
                r.at,
                r.source,
                r.release ?? '-',
                String(sizeOf(r)),
                catalogue.nameOf(r.id) ?? '',
              ]),
            ),
      );
    });
}

function showCommand(archive: Command, context: CliContext): void {
  archive
    .command('show <capture>')
    .description('what a capture holds; with --out, its files, byte for byte')
    .option('--out <folder>', 'write its files below this folder')
    .action(async (id: string, options: { out?: string }) => {
      const bench = await context.workbench();
      const { record, files } = await bench.archive.get(id);
      for (const { name, bytes } of options.out === undefined ? [] : files) {
        const file = path.join(options.out!, name.replace(/^\/+/, ''));
        await mkdir(path.dirname(file), { recursive: true });
        await writeFile(file, bytes, { mode: 0o600 });
      }
      const facts = [
        `${record.device}, taken ${record.at} by ${record.source}`,
        `release ${record.release ?? 'not known'}, slot ${record.slot ?? 'not known'}, digest ${record.digest}`,
        ...(options.out === undefined ? [] : [`written below ${options.out}`]),
      ];
      const rows = record.files.map((file) => [file.name, String(file.size), file.sha256]);
      context.out.result(record, `${facts.join('\n')}\n\n${table(['file', 'bytes', 'SHA-256'], rows)}`);
    });
}

function statusCommand(archive: Command, context: CliContext): void {
  archive
    .command('status')
    .description('for each device: last capture, last verified, last rehearsed, last actually restored')
    .action(async () => {
      const bench = await context.workbench();
      const held = await standing(insideOf(bench.archive));
      const none = {
        captures: 0,
        lastCapture: null,
        lastVerified: null,
        lastRehearsed: null,
        lastRestored: null,
      };
      const empty = (await bench.store.devices.list())
        .filter(({ name }) => held.every(({ device }) => device !== name))
        .map(({ name }) => ({ device: name, ...none }));
      const all = [...held, ...empty];
      const when = (done: { at: string } | null) => done?.at ?? 'never';
      context.out.result(
        all,
        all.length === 0
          ? 'No capture yet.'
          : table(
              ['device', 'captures', 'last capture', 'verified', 'rehearsed', 'restored'],
              all.map((d) => [
                d.device,
                String(d.captures),
                when(d.lastCapture),
                when(d.lastVerified),
                when(d.lastRehearsed),
                when(d.lastRestored),
              ]),
            ),
      );
    });
}

/** `witnesses`: where, outside the archive, its last line is noted. */
function verifyText(report: VerifyReport, witnesses: readonly string[]): string {
  const lines = [
    `${report.goodCaptures} of ${report.captures} captures are good; ${report.lines} lines of the manifest.`,
  ];
  for (const { first, last, why } of report.manifest)
    lines.push(`Manifest, lines ${first} to ${last}: ${why}`);
  for (const { file, why, lost } of report.files) {
    lines.push(`${file}: ${why}`);
    lines.push(...lost.map((id) => `  lost: ${id}`));
  }
  for (const file of report.unknown)
    lines.push(`${file}: no line knows it. "archive reindex" takes in what it holds.`);
  for (const what of report.noticed) lines.push(`Noted earlier, ${what}`);
  lines.push(
    witnesses.length === 0
      ? 'Its last line was not noted outside yet: an archive put back as a whole to an earlier state would not be seen.'
      : `Its last line was compared with the one noted in ${witnesses.join(', ')}.`,
  );
  if (report.good) lines.push('Nothing is wrong.');
  return lines.join('\n');
}

function checkCommands(archive: Command, context: CliContext): void {
  archive
    .command('verify')
    .description(
      'open and check every capture and every line of the manifest; exit code 1 when anything is wrong',
    )
    .action(async () => {
      const inside = insideOf((await context.workbench()).archive);
      const witnesses = inside.witnesses.filter((file) => existsSync(file));
      const report = await verifyArchive(inside, (done, total) =>
        context.out.progress(`   … ${done} of ${total} files`),
      );
      await noteVerified(inside, report);
      const { goodOf, ...rest } = report;
      context.out.result(
        { ...rest, witnesses, goodOf: Object.fromEntries(goodOf) },
        verifyText(report, witnesses),
      );
      if (!report.good) context.exit(ExitCode.different);
    });

  archive
    .command('reindex')
    .description('build the index again from the files alone, and take in captures whose lines were lost')
    .action(async () => {
      const report = await reindexArchive(insideOf((await context.workbench()).archive));
      const lines = [
        `${report.known} captures known, ${report.found.length} found again.`,
        ...report.noticed.map((what) => `Noted: ${what}`),
        ...report.found.map((one) => `Found: ${one.id} of ${one.device} in ${one.file}`),
        ...report.unreadable.map((one) => `Cannot be opened, left where it is: ${one.file} (${one.why})`),
      ];
      context.out.result(report, lines.join('\n'));
      if (report.unreadable.length > 0) context.exit(ExitCode.different);
    });

  archive
    .command('pack')
    .description('move captures into packs, and put the manifest in order')
    .option('--least <n>', 'devices with at least this many captures outside a pack', '16')
    .action(async (options: { least: string }) => {
      const packed: { device: string; captures: number }[] = [];
      await tidy(
        insideOf((await context.workbench()).archive),
        Math.max(1, Number(options.least) || 16),
        (one) => {
          packed.push(one);
          context.out.progress(`   … ${one.device}`);
        },
      );
      const text = packed.map((one) => `${one.device}: ${one.captures} captures`);
      context.out.result(packed, text.length === 0 ? 'Nothing to pack.' : text.join('\n'));
    });
}
