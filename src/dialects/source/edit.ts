import type { Edit, SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';

/**
 * The files with the edits made; every character outside the edits stays as it was. Edits may come in any order;
 * several insertions at one place keep their order, and stand before what is replaced there.
 * @throws TuckpointError `dialects/edit-overlap`, `dialects/edit-outside`.
 */
export function applyEdits(files: readonly SourceFile[], edits: readonly Edit[]): SourceFile[] {
  const known = new Set(files.map((file) => file.name));
  for (const { place } of edits) {
    if (!known.has(place.file)) {
      throw new TuckpointError('dialects/edit-outside', `There is no file ${place.file} to change.`, {
        place,
      });
    }
  }
  return files.map((file) => {
    const mine = edits
      .map((edit, order) => ({ edit, order }))
      .filter(({ edit }) => edit.place.file === file.name)
      .sort((a, b) => before(a.edit.place, b.edit.place) || a.order - b.order);
    let text = '';
    let done = 0;
    for (const { edit } of mine) {
      const { start, end } = edit.place;
      if (end < start || end > file.text.length) {
        throw new TuckpointError('dialects/edit-outside', 'A change lies outside its file.', {
          place: edit.place,
        });
      }
      if (start < done) {
        throw new TuckpointError('dialects/edit-overlap', 'Two changes overlap.', {
          place: edit.place,
          advice: 'Make them one after the other.',
        });
      }
      text += file.text.slice(done, start) + edit.text;
      done = end;
    }
    return { name: file.name, text: text + file.text.slice(done) };
  });
}

function before(a: Edit['place'], b: Edit['place']): number {
  return a.start - b.start || Number(a.end > a.start) - Number(b.end > b.start);
}
