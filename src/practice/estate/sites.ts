/** A place of the Brackwater Line. `number` is the second part of its networks: 10.NUMBER.0.0/16. */
export interface Site {
  readonly name: string;
  readonly kind: 'harbour' | 'depot';
  readonly number: number;
  /** Its part of the documentation networks of RFC 5737: the first three parts, with a dot behind. */
  readonly outside: string;
}

/** The four harbours and the depot. */
export const sites: readonly Site[] = [
  { name: 'Gull Quay', kind: 'harbour', number: 11, outside: '192.0.2.' },
  { name: 'North Mole', kind: 'harbour', number: 12, outside: '198.51.100.' },
  { name: 'Lantern Head', kind: 'harbour', number: 13, outside: '203.0.113.' },
  { name: 'Sandgate Slip', kind: 'harbour', number: 14, outside: '192.0.2.' },
  { name: 'Tidewatch', kind: 'depot', number: 15, outside: '198.51.100.' },
];

/** The site of that name. Throws a RangeError for a name the estate does not have. */
export function siteOf(name: string): Site {
  const site = sites.find((s) => s.name === name);
  if (site === undefined) throw new RangeError(`no practice site is called ${name}`);
  return site;
}
