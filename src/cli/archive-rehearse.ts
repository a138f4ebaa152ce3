import type { Command } from 'commander';
import { type Archive, insideOf, noteProof } from '#archive';
import { TuckpointError } from '#core/errors';
import type { Rehearsal } from '#rehearsal';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';

/** `archive rehearse [what] | --all`: captures proven by use. */
export function archiveRehearseCommand(archive: Command, context: CliContext): void {
  archive
    .command('rehearse [capture-or-device]')
    .description(
      'prove a capture by use: open it, read it, and load it for real where that can be done here; of a device, its newest',
    )
    .option('--all', 'the newest capture of every device')
    .action(async (what: string | undefined, options: { all?: boolean }) => {
      const { rehearse } = await import('#rehearsal');
      const bench = await context.workbench();
      const chosen = await choose(bench.archive, what, options.all === true);
      const results: Rehearsal[] = [];
      for (const { id, device } of chosen) {
        context.out.progress(`   … ${results.length + 1} of ${chosen.length}: ${device}`);
        const result = await rehearse(bench.archive, id, device);
        results.push(result);
        await note(bench.archive, result);
      }
      context.out.result(results, results.map(textOf).join('\n\n'));
      for (const result of results) context.exit(codeOf(result));
    });
}

async function choose(
  archive: Archive,
  what: string | undefined,
  all: boolean,
): Promise<readonly { id: string; device: string }[]> {
  if (all === (what !== undefined))
    throw new TuckpointError('cli/bad-option', 'Name a capture or a device, or give --all.');
  const records = await archive.list();
  if (all) return [...new Map(records.map((record) => [record.device, record])).values()];
  const found = records.find(({ id }) => id === what) ?? records.findLast(({ device }) => device === what);
  if (found !== undefined) return [found];
  throw new TuckpointError('archive/unknown-capture', `The archive holds no capture or device "${what}".`, {
    advice: 'See "tuckpoint archive list".',
  });
}

/** What was proven goes into the manifest. Opening it was a verification, whatever came after. */
async function note(archive: Archive, { id, damage, proven, read, load }: Rehearsal): Promise<void> {
  if (damage !== null) return;
  const inside = insideOf(archive);
  await noteProof(inside, 'verified', [id], 'opened, every digest compared');
  if (!proven) return;
  const readBy = read.map(({ dialect }) => dialect).join(', ');
  await noteProof(
    inside,
    'rehearsed',
    [id],
    `read as ${readBy}${load === null ? '' : ', loaded into a kernel'}`,
  );
}

/** Different: something is wrong with it. Undecided: it could not be proven here. */
function codeOf({ damage, misread, load, proven }: Rehearsal): number {
  if (damage !== null || misread !== null || load?.state === 'refused') return ExitCode.different;
  return proven ? ExitCode.ok : ExitCode.undecided;
}

function textOf(one: Rehearsal): string {
  const lines = [`${one.device}, capture ${one.id}`];
  if (one.damage !== null) lines.push(`  damaged: ${one.damage}`);
  else lines.push('  opened, every digest is right');
  if (one.misread !== null) lines.push(`  cannot be read: ${one.misread}`);
  for (const { dialect, files, objects, notUnderstood } of one.read) {
    const but = notUnderstood === 0 ? '' : `, but for ${notUnderstood} statements not understood`;
    lines.push(`  read as ${dialect}: ${files.join(', ')}; ${objects} objects${but}`);
  }
  for (const { name, why } of one.unread) lines.push(`  not read: ${name}: ${why}`);
  lines.push(...loadText(one));
  lines.push(one.proven ? '  Rehearsed.' : '  Not rehearsed.');
  return lines.join('\n');
}

function loadText({ load, damage, misread }: Rehearsal): string[] {
  if (load === null)
    return damage === null && misread === null ? ['  nothing in it can be loaded here for real'] : [];
  switch (load.state) {
    case 'loaded': {
      const { tables, chains, rules, standIns } = load;
      const made = standIns.length === 0 ? '' : ` (interfaces made for it: ${standIns.join(', ')})`;
      return [
        `  loaded for real in a network namespace of its own: ${tables} tables, ${chains} chains, ${rules} rules${made}`,
      ];
    }
    case 'refused':
      return ['  the packet filter here refuses it:', ...load.why.split('\n').map((line) => `    ${line}`)];
    case 'not here':
      return [`  not loaded: ${load.why}`];
  }
}
