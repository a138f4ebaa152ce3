import { TuckpointError, type TuckpointErrorOptions } from '#core/errors';

export type LabErrorCode =
  | 'lab/not-here'
  | 'lab/busy'
  | 'lab/no-lab'
  | 'lab/input'
  | 'lab/command'
  | 'lab/no-boot';

export class LabError extends TuckpointError<LabErrorCode> {}

/** Shorthand for a lab error with advice. */
export function labError(code: LabErrorCode, message: string, options: TuckpointErrorOptions = {}): LabError {
  return new LabError(code, message, options);
}
