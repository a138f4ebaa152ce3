import { TuckpointError } from '#core/errors';
import { readDocument } from '#document';
import { type Handbook, handbookSchema } from './schema.ts';

/** A handbook that cannot be used; `mistakes` holds every one that was found, in the order of the file. */
export class HandbookError extends TuckpointError<'links/handbook'> {
  readonly mistakes: readonly TuckpointError<'links/handbook'>[];

  constructor(mistakes: readonly TuckpointError<'links/handbook'>[]) {
    const first = mistakes[0]!;
    const alone = mistakes.length === 1;
    const file = first.place?.file;
    super(
      'links/handbook',
      alone
        ? first.message
        : `The handbook has ${mistakes.length} mistakes:\n${mistakes.map((mistake) => `  ${mistake.text}`).join('\n')}`,
      alone && first.place !== undefined
        ? { place: first.place }
        : file === undefined
          ? {}
          : { place: { file } },
    );
    this.mistakes = mistakes;
  }
}

/**
 * Reads a handbook. `file` is its name as the user knows it.
 *
 * @throws HandbookError with all mistakes, each with file, line and field.
 */
export function parseHandbook(text: string, file: string): Handbook {
  const read = readDocument(text, file, handbookSchema);
  if ('value' in read) return read.value;
  throw new HandbookError(
    read.mistakes.map(({ message, place }) => {
      const broken = message.startsWith('This is not YAML');
      const advice = "A value that holds any of : # { } [ ] , must stand in 'single quotes'.";
      return new TuckpointError('links/handbook', message, { place, ...(broken ? { advice } : {}) });
    }),
  );
}
