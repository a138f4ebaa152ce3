/** The parts of a harbour's network. Each has one interface of its own on a device that serves it. */
export type Zone =
  | 'outside'
  | 'ticketing'
  | 'cctv'
  | 'crew'
  | 'control'
  | 'radar'
  | 'office'
  | 'passenger'
  | 'remote'
  | 'upkeep';

export interface ZoneFacts {
  readonly interface: string;
  /** Third part of the zone's IPv4 network, fourth group of its IPv6 prefix. */
  readonly number: number;
  readonly says: string;
  /** Its traffic as a share of the busiest. */
  readonly share: number;
}

/** What each zone is called on the wire, and where its networks lie. */
export const zones: Readonly<Record<Zone, ZoneFacts>> = {
  outside: { interface: 'wan0', number: 1, says: 'towards the carrier', share: 1 },
  ticketing: { interface: 'tick0', number: 10, says: 'ticket desks and gates', share: 0.25 },
  cctv: { interface: 'cctv0', number: 20, says: 'cameras on quays and ramps', share: 0.9 },
  crew: { interface: 'crew0', number: 30, says: 'crew wireless', share: 0.35 },
  control: { interface: 'ctrl0', number: 40, says: 'harbour control', share: 0.1 },
  radar: { interface: 'radar0', number: 44, says: 'radar and weather masts', share: 0.2 },
  office: { interface: 'office0', number: 50, says: 'harbour office', share: 0.3 },
  passenger: { interface: 'pass0', number: 60, says: 'passenger wireless', share: 0.7 },
  remote: { interface: 'vpn0', number: 80, says: 'staff and makers from afar', share: 0.15 },
  upkeep: { interface: 'mgmt0', number: 99, says: 'upkeep of devices', share: 0.02 },
};
