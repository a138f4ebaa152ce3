/**
 * Captures at rest: encrypted, in open formats, verified before they are acknowledged.
 * It must never know how a capture came, nor read a configuration.
 */
export type { Archive, Capture, CaptureFile, CaptureRecord, CaptureSource, NewCapture } from './port.ts';
