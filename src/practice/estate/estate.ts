import { devices, type EstateDevice } from './devices.ts';
import { models, type PracticeModel } from './models.ts';
import { type Site, sites } from './sites.ts';

export interface Estate {
  readonly company: string;
  readonly domain: string;
  readonly sites: readonly Site[];
  readonly models: readonly PracticeModel[];
  readonly devices: readonly EstateDevice[];
}

/** The demo estate: an invented ferry operator. No such company, place, maker or address exists. */
export const estate: Estate = {
  company: 'Brackwater Line',
  domain: 'brackwater.example',
  sites,
  models,
  devices,
};
