import { seeded } from '../traffic/random.ts';
import { policyOf } from '../traffic/shapes.ts';
import { nftablesText } from '../traffic/texts.ts';

const FILE = 'etc/nftables.conf';
const encoder = new TextEncoder();

export interface NamedBytes {
  readonly name: string;
  readonly bytes: Uint8Array;
}

const setText = (name: string, elements: readonly string[]) =>
  `  set ${name} {\n    type ipv4_addr\n    flags interval\n    elements = { ${elements.join(', ')} }\n  }\n`;

/** What is carried: a rule by name with its chain and three sets, one of which has another value on most targets. */
export const SELECTORS = ['rule:"crew to tickets"', 'address-group:harbours'];

const HARBOURS = ['10.11.0.0/16', '10.12.0.0/16', '10.13.0.0/16'];

export function sourceFiles(): NamedBytes[] {
  const sets = [
    setText('harbours', HARBOURS),
    setText('crew_wifi', ['10.11.30.0/24', '10.12.30.0/24']),
    setText('ticket_servers', ['10.15.71.20-10.15.71.29']),
  ];
  const text = `table inet gate {
${sets.join('')}  chain tickets {
    ip daddr @ticket_servers tcp dport { 443, 5671 } accept comment "sell and check"
    ip saddr @harbours ip daddr @ticket_servers udp dport 123 accept
  }
  chain forward {
    type filter hook forward priority filter; policy drop;
    ip saddr @crew_wifi jump tickets comment "crew to tickets"
  }
}
`;
  return [{ name: FILE, bytes: encoder.encode(text) }];
}

/**
 * A device with so many rules of its own, and the shared sets: alike, with another value (a collision), or missing.
 * The same number gives the same device.
 */
export function targetFiles(number: number, rules: number): NamedBytes[] {
  const random = seeded(40_000 + number);
  const policy = policyOf(number % 2 === 0 ? 'services' : 'enterprise', rules, number + 1);
  const harbours = random.below(4) === 0 ? HARBOURS : [...HARBOURS.slice(1), `10.${random.below(90)}.0.0/16`];
  const sets = [
    setText('harbours', harbours),
    ...(random.below(2) === 0 ? [setText('ticket_servers', ['10.15.71.20-10.15.71.29'])] : []),
    setText('office', [`10.${100 + random.below(90)}.10.0/24`]),
  ];
  const text = nftablesText(policy).replace('table inet gate {\n', `table inet gate {\n${sets.join('')}`);
  return [{ name: FILE, bytes: encoder.encode(text) }];
}
