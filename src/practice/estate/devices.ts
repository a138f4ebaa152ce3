import type { PracticeModel } from './models.ts';
import type { Zone } from './zones.ts';

/** One device of the estate, as it is when first made. */
export interface EstateDevice {
  readonly name: string;
  readonly site: string;
  readonly model: PracticeModel['name'];
  readonly serial: string;
  /** Last part of its addresses in every network it stands in. */
  readonly host: number;
  readonly zones: readonly Zone[];
  /** The other half of a pair; the first named of the two leads while it answers. */
  readonly peer?: string;
  readonly leads?: boolean;
  /** With it the loader itself boots the other slot when a boot does not come up. */
  readonly watchdog: boolean;
  /** Days it has been up when the estate is first made. */
  readonly upDays: number;
}

const edge: readonly Zone[] = ['outside', 'ticketing', 'cctv', 'crew', 'upkeep'];
const inner: readonly Zone[] = ['outside', 'control', 'radar', 'office', 'upkeep'];
const whole: readonly Zone[] = [
  'outside',
  'ticketing',
  'cctv',
  'crew',
  'control',
  'office',
  'passenger',
  'upkeep',
];

const device = (
  name: string,
  site: string,
  model: PracticeModel['name'],
  serial: string,
  rest: Pick<EstateDevice, 'host' | 'zones' | 'watchdog' | 'upDays' | 'peer' | 'leads'>,
): EstateDevice => ({ name, site, model, serial, ...rest });

/** The twelve devices of the Brackwater Line. */
export const devices: readonly EstateDevice[] = [
  device('gull-quay-fw1', 'Gull Quay', 'Groyne 40', 'G40-110417', {
    host: 1,
    zones: edge,
    watchdog: true,
    upDays: 41,
  }),
  device('gull-quay-fw2', 'Gull Quay', 'Groyne 40', 'G40-110418', {
    host: 2,
    zones: inner,
    watchdog: false,
    upDays: 41,
  }),
  device('north-mole-fw1', 'North Mole', 'Groyne 200', 'G200-20731', {
    host: 2,
    zones: whole,
    watchdog: true,
    upDays: 118,
    peer: 'north-mole-fw2',
    leads: true,
  }),
  device('north-mole-fw2', 'North Mole', 'Groyne 200', 'G200-20732', {
    host: 3,
    zones: whole,
    watchdog: true,
    upDays: 117,
    peer: 'north-mole-fw1',
    leads: false,
  }),
  device('lantern-head-fw1', 'Lantern Head', 'Groyne 40', 'G40-120033', {
    host: 1,
    zones: [...edge, 'passenger'],
    watchdog: true,
    upDays: 9,
  }),
  device('lantern-head-cctv', 'Lantern Head', 'Groyne V', 'GV-7f31a0', {
    host: 5,
    zones: ['outside', 'cctv', 'radar', 'upkeep'],
    watchdog: false,
    upDays: 63,
  }),
  device('sandgate-slip-fw1', 'Sandgate Slip', 'Groyne 40', 'G40-120071', {
    host: 11,
    zones: edge,
    watchdog: true,
    upDays: 205,
  }),
  device('sandgate-slip-fw2', 'Sandgate Slip', 'Groyne 40', 'G40-120072', {
    host: 12,
    zones: inner,
    watchdog: false,
    upDays: 22,
  }),
  device('tidewatch-fw1', 'Tidewatch', 'Groyne 200', 'G200-20655', {
    host: 2,
    zones: whole,
    watchdog: true,
    upDays: 76,
    peer: 'tidewatch-fw2',
    leads: true,
  }),
  device('tidewatch-fw2', 'Tidewatch', 'Groyne 200', 'G200-20656', {
    host: 3,
    zones: whole,
    watchdog: true,
    upDays: 76,
    peer: 'tidewatch-fw1',
    leads: false,
  }),
  device('tidewatch-gate', 'Tidewatch', 'Groyne V', 'GV-7f31a4', {
    host: 8,
    zones: ['outside', 'office', 'remote', 'upkeep'],
    watchdog: false,
    upDays: 30,
  }),
  device('tidewatch-bench', 'Tidewatch', 'Groyne 40', 'G40-100001', {
    host: 21,
    zones: inner,
    watchdog: false,
    upDays: 3,
  }),
];
