import { archiveError } from './errors.ts';
import { checkNames } from './names.ts';
import type { NewCapture } from './port.ts';

/** RFC 3339 section 5.6 date-time, with its zone. */
const RFC3339 = /^\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)$/;

/** Checks what is about to be stored. Throws `archive/bad-capture`, `archive/bad-name`. */
export function checkCapture(capture: NewCapture): void {
  const refuse = (field: string, message: string, advice: string) => {
    throw archiveError('archive/bad-capture', message, { field, advice });
  };
  if (capture.device === '') refuse('device', 'The capture has no device.', 'Say whose configuration it is.');
  if (!RFC3339.test(capture.at) || Number.isNaN(Date.parse(capture.at)))
    refuse(
      'at',
      `${JSON.stringify(capture.at)} is not a time with a zone.`,
      'Write it like 2026-03-01T04:05:06Z.',
    );
  if (capture.files.length === 0) refuse('files', 'The capture has no files.', 'Capture again.');
  if (capture.files.every((file) => file.bytes.length === 0))
    refuse('files', 'Every file of the capture is empty.', 'Check what the device sends, and capture again.');
  checkNames(capture.files.map((file) => file.name));
}
