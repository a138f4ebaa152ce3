/** Where in the user's material something stands. `line` counts from 1. */
export interface Place {
  /** A file as the user knows it. */
  readonly file?: string;
  readonly line?: number;
  readonly column?: number;
  /** A field of a record, or a path into a document, such as `install.writes`. */
  readonly field?: string;
}

export interface TuckpointErrorOptions {
  readonly place?: Place;
  readonly cause?: unknown;
  /** What the user can do about it, as one sentence. */
  readonly advice?: string;
}

/**
 * An error a user can meet.
 *
 * `code` is `room/what`, for example `links/unreachable`; it is stable and may be tested. `message` is one
 * sentence that says what is wrong; `text` adds the place in front and the advice behind.
 */
export class TuckpointError<Code extends string = string> extends Error {
  readonly code: Code;
  readonly place: Place | undefined;
  readonly advice: string | undefined;

  constructor(code: Code, message: string, options: TuckpointErrorOptions = {}) {
    super(message, options.cause === undefined ? undefined : { cause: options.cause });
    this.name = 'TuckpointError';
    this.code = code;
    this.place = options.place;
    this.advice = options.advice;
  }

  /** `file:line: message. Advice.` for a terminal or a log. */
  get text(): string {
    const p = this.place;
    const file = [p?.file, p?.line, p?.column].filter((part) => part !== undefined).join(':');
    const where = [file, p?.field].filter((part) => part !== undefined && part !== '').join(': ');
    return `${where === '' ? '' : `${where}: `}${this.message}${this.advice === undefined ? '' : ` ${this.advice}`}`;
  }
}

/** The code of a TuckpointError, or undefined for anything else. */
export function codeOf(error: unknown): string | undefined {
  return error instanceof TuckpointError ? error.code : undefined;
}
