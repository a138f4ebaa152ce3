import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import { readDocument } from '#document';
import { type Mapping, mappingSchema } from './schema.ts';

/**
 * Reads a mapping file.
 * @throws TuckpointError `dialects/mapping`: the first mistake with its line, and the others in the advice.
 */
export function readMapping(file: SourceFile): Mapping {
  const read = readDocument(file.text, file.name, mappingSchema);
  if ('value' in read) return read.value;
  const [first, ...more] = read.mistakes;
  throw new TuckpointError('dialects/mapping', first.message, {
    place: { line: 1, ...first.place },
    ...(more.length === 0
      ? {}
      : {
          advice: `${more.length} more ${more.length === 1 ? 'mistake follows' : 'mistakes follow'} in this file: ${more
            .slice(0, 5)
            .map(({ message, place }) => `line ${place.line}: ${message}`)
            .join(' ')}`,
        }),
  });
}
