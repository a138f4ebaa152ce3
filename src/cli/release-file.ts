import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { readFile, stat } from 'node:fs/promises';
import path from 'node:path';
import { parse } from 'yaml';
import { TuckpointError } from '#core/errors';
import { type ReleaseSheet, readReleaseSheet } from '#core/release';
import type { ChosenRelease } from '#runs';

const SHEET = /\.(ya?ml|json)$/i;

/**
 * A release the user names by its sheet, or by its firmware file with the sheet beside it (`FILE.sheet.yaml`).
 * The file's size and digest must be those of the sheet. Throws `release/…` with the place.
 */
export async function chooseRelease(named: string): Promise<ChosenRelease> {
  const sheetFile = SHEET.test(named) ? named : `${named}.sheet.yaml`;
  const sheet = await readSheet(sheetFile, named);
  const wanted = SHEET.test(named)
    ? sheet.files[0]
    : sheet.files.find((f) => f.name === path.basename(named));
  if (wanted === undefined) {
    throw new TuckpointError('release/sheet', `The sheet does not name the file ${path.basename(named)}.`, {
      place: { file: sheetFile, field: 'files' },
      advice: 'Name a file that the sheet lists.',
    });
  }
  const file = path.resolve(path.dirname(sheetFile), wanted.name);
  await checkFile(file, wanted);
  return { sheet, file: { path: file, ...wanted } };
}

async function readSheet(file: string, named: string): Promise<ReleaseSheet> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    throw new TuckpointError('release/no-sheet', 'The release sheet cannot be read.', {
      place: { file },
      cause,
      advice: `Write one beside the firmware file (see docs/releases.md), or check the path "${named}".`,
    });
  }
  let value: unknown;
  try {
    value = parse(text);
  } catch (cause) {
    const line = (cause as { linePos?: { line: number }[] }).linePos?.[0]?.line;
    throw new TuckpointError('release/sheet', 'The release sheet is not YAML.', {
      place: { file, ...(line === undefined ? {} : { line }) },
      cause,
      advice: 'Correct the release sheet.',
    });
  }
  return readReleaseSheet(value, file);
}

async function checkFile(file: string, wanted: { size: number; sha256: string }): Promise<void> {
  let size: number;
  try {
    size = (await stat(file)).size;
  } catch (cause) {
    throw new TuckpointError('release/no-file', 'The firmware file cannot be read.', {
      place: { file },
      cause,
    });
  }
  if (size !== wanted.size) {
    throw new TuckpointError(
      'release/wrong-size',
      `The firmware file has ${size} bytes; its sheet says ${wanted.size}: it is ${size < wanted.size ? 'cut short' : 'too long'}.`,
      { place: { file }, advice: 'Fetch it again from where it is published.' },
    );
  }
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Buffer);
  const digest = hash.digest('hex');
  if (digest !== wanted.sha256) {
    throw new TuckpointError(
      'release/wrong-digest',
      'The firmware file does not have the SHA-256 digest of its sheet.',
      {
        place: { file },
        advice: `Do not use it; fetch it again. It has ${digest}, the sheet says ${wanted.sha256}.`,
      },
    );
  }
}
