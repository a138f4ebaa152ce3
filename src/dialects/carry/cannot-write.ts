import type { Span } from '#core/config';
import { TuckpointError } from '#core/errors';

/** What a writer says when it would have to guess. Nothing is written then. */
export function cannotWrite(sentence: string, place: Span, advice: string): TuckpointError {
  return new TuckpointError('dialects/cannot-write', sentence, {
    place: { file: place.file, line: place.line },
    advice,
  });
}
