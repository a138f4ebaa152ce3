import { describe, expect, it } from 'vitest';
import { TuckpointError } from '#core/errors';
import { readReleaseSheet } from './index.ts';

const digest = 'ab'.repeat(32);
const sheet = {
  release: '4.2.0',
  models: ['Groyne 40', 'Groyne 200'],
  from: '4.0.0',
  files: [{ name: 'groyne-4.2.0.img', size: 1_048_576, sha256: digest }],
  limitations: ['Interface names of the expansion module change.'],
  fixes: ['Memory is given back when a tunnel ends.'],
  notes: 'Read the limitations first.',
};

describe('a release sheet', () => {
  it('is read as it stands', () => {
    expect(readReleaseSheet(structuredClone(sheet))).toEqual(sheet);
  });

  it('does without what is optional', () => {
    const { release, models, files } = sheet;
    expect(readReleaseSheet({ release, models, files })).toEqual({ release, models, files });
  });

  it('takes a digest in capitals and keeps it in small letters', () => {
    const files = [{ ...sheet.files[0]!, sha256: digest.toUpperCase() }];
    expect(readReleaseSheet({ ...sheet, files }).files[0]!.sha256).toBe(digest);
  });

  const file = sheet.files[0]!;
  it.each<[string, unknown, string]>([
    ['no fields at all', 'x', '(whole sheet)'],
    ['a list', [], '(whole sheet)'],
    ['no release', { ...sheet, release: undefined }, 'release'],
    ['a release that begins with a letter', { ...sheet, release: 'new' }, 'release'],
    ['a release that is a number', { ...sheet, release: 4.2 }, 'release'],
    ['no models', { ...sheet, models: [] }, 'models'],
    ['a model that is no text', { ...sheet, models: [40] }, 'models'],
    ['an unreadable oldest release', { ...sheet, from: 'any' }, 'from'],
    ['no files', { ...sheet, files: [] }, 'files'],
    ['a file without a name', { ...sheet, files: [{ ...file, name: '' }] }, 'files[0].name'],
    ['a file in another folder', { ...sheet, files: [{ ...file, name: '../boot' }] }, 'files[0].name'],
    ['a size below 1', { ...sheet, files: [file, { ...file, name: 'b', size: 0 }] }, 'files[1].size'],
    ['a size in text', { ...sheet, files: [{ ...file, size: '10' }] }, 'files[0].size'],
    ['a short digest', { ...sheet, files: [{ ...file, sha256: 'abc' }] }, 'files[0].sha256'],
    ['a field of a file nobody knows', { ...sheet, files: [{ ...file, md5: 'x' }] }, 'files[0].md5'],
    ['the same file twice', { ...sheet, files: [file, file] }, 'files'],
    ['limitations that are a text', { ...sheet, limitations: 'none' }, 'limitations'],
    ['fixes that are no texts', { ...sheet, fixes: [1] }, 'fixes'],
    ['notes that are a list', { ...sheet, notes: ['x'] }, 'notes'],
    ['a field nobody knows', { ...sheet, modles: [] }, 'modles'],
  ])('is refused with the field named: %s', (_, value, field) => {
    try {
      readReleaseSheet(value, 'groyne-4.2.0.json');
    } catch (error) {
      expect(error).toBeInstanceOf(TuckpointError);
      const { code, place } = error as TuckpointError;
      expect({ code, place }).toEqual({
        code: 'release/sheet',
        place: { file: 'groyne-4.2.0.json', field },
      });
      return;
    }
    expect.fail('the sheet was taken');
  });
});
