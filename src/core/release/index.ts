/**
 * Firmware releases: their order, what is known of one (the release sheet), and whether it fits a device.
 * Pure; it must never open a firmware file or ask a device.
 */
export { type Fit, type FitDevice, type FitReason, type FitReasonCode, type FitVerdict, fit } from './fit.ts';
export { readReleaseSheet } from './read-sheet.ts';
export type { ReleaseFile, ReleaseSheet } from './sheet.ts';
export { compareVersions, isVersion, parseVersion, sameRelease, type Version } from './version.ts';
