import { TuckpointError } from '#core/errors';

export type ArchiveErrorCode =
  | 'archive/unknown-capture'
  | 'archive/damaged'
  | 'archive/bad-capture'
  | 'archive/bad-name'
  | 'archive/no-key'
  | 'archive/wrong-key'
  | 'archive/bad-key'
  | 'archive/key-exists'
  | 'archive/not-an-archive'
  | 'archive/write-failed'
  | 'archive/busy'
  | 'archive/bad-recurrence'
  | 'archive/bad-rule'
  | 'archive/protected'
  | 'archive/bad-import'
  | 'archive/replica'
  | 'archive/closed';

export type ArchiveError = TuckpointError<ArchiveErrorCode>;

/** An error of this room: what is wrong as one sentence, where, and what to do about it. */
export function archiveError(
  code: ArchiveErrorCode,
  message: string,
  options: { file?: string; field?: string; advice?: string; cause?: unknown } = {},
): ArchiveError {
  const place = {
    ...(options.file === undefined ? {} : { file: options.file }),
    ...(options.field === undefined ? {} : { field: options.field }),
  };
  return new TuckpointError<ArchiveErrorCode>(code, message, {
    ...(Object.keys(place).length > 0 ? { place } : {}),
    ...(options.advice === undefined ? {} : { advice: options.advice }),
    ...(options.cause === undefined ? {} : { cause: options.cause }),
  });
}
