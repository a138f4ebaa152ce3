/**
 * The report of one run: what it says, and how it is shown as text, JSON and one HTML page.
 * Pure; it must never look anything up: all it shows is in the report it is given.
 */
export { type ComparedFile, configurationChanges } from './changes.ts';
export { type ReportForm, renderReport } from './render.ts';
export type {
  ConfigurationSection,
  FileChange,
  ReadBackSection,
  ReadingsSection,
  ReportDevice,
  ReportSlots,
  ReportStep,
  RunReport,
  StepOutcome,
  TrafficSection,
} from './run-report.ts';
export { visible } from './visible.ts';
