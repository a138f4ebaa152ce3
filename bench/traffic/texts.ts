import { formatAddresses, type NumberSet, pairsOf } from '#core/address';
import type { Match, Policy, Rule } from '#core/traffic';

/** Generated policies as text, so that reading can be measured too. Their rules hold what the shapes make, and no more. */
const rulesOf = (policy: Policy): Rule[] =>
  policy.pipelines.flatMap(({ stages }) =>
    stages.flatMap(({ kind, rules }) => (kind === 'filter' ? rules.slice(0, -1) : [])),
  );

const ranges = (set: NumberSet) =>
  pairsOf(set).map(([low, high]) => (low === high ? `${low}` : `${low}-${high}`));
const oneOrSet = (texts: readonly string[]) => (texts.length === 1 ? texts[0] : `{ ${texts.join(', ')} }`);
const verdictOf = ({ action }: Rule) => ('verdict' in action ? action.verdict : 'accept');

export function nftablesText(policy: Policy): string {
  const rule = (r: Rule): string => {
    const { inInterface, outInterface, source, destination, protocol, sourcePort, destinationPort, states } =
      r.match;
    const ip = (source ?? destination)?.family === 6 ? 'ip6' : 'ip';
    const th = protocol === undefined ? 'th' : protocol[0] === 6 ? 'tcp' : 'udp';
    const parts = [
      inInterface && `iifname ${oneOrSet(inInterface.names.map((n) => `"${n}"`))}`,
      outInterface && `oifname ${oneOrSet(outInterface.names.map((n) => `"${n}"`))}`,
      source && `${ip} saddr ${oneOrSet(formatAddresses(source))}`,
      destination && `${ip} daddr ${oneOrSet(formatAddresses(destination))}`,
      protocol && destinationPort === undefined && `meta l4proto ${th}`,
      sourcePort && `${th} sport ${oneOrSet(ranges(sourcePort))}`,
      destinationPort && `${th} dport ${oneOrSet(ranges(destinationPort))}`,
      states && `ct state ${states.join(',')}`,
      verdictOf(r),
    ];
    return `    ${parts.filter((part) => part).join(' ')}`;
  };
  return `table inet gate {\n  chain forward {\n    type filter hook forward priority filter; policy drop;\n${rulesOf(policy).map(rule).join('\n')}\n  }\n}\n`;
}

/** One access list of RFC 8519 in JSON; a rule of several networks or ports becomes several entries in real lists. */
export function accessListText(policy: Policy): string {
  const rules = rulesOf(policy);
  const ace = (r: Rule, n: number) => {
    const { source, destination, protocol, destinationPort } = r.match;
    const tcp = protocol?.[0] === 6 ? 'tcp' : 'udp';
    return {
      name: `entry-${n}`,
      matches: {
        ipv4: {
          ...(source && { 'source-ipv4-network': formatAddresses(source)[0] }),
          ...(destination && { 'destination-ipv4-network': formatAddresses(destination)[0] }),
          ...(protocol && { protocol: protocol[0] }),
        },
        ...(destinationPort &&
          protocol && {
            [tcp]: {
              'destination-port': { 'lower-port': destinationPort[0], 'upper-port': destinationPort[1] },
            },
          }),
      },
      actions: { forwarding: verdictOf(r) },
    };
  };
  const acls = {
    acl: [{ name: 'gate', type: 'ipv4-acl-type', aces: { ace: rules.map(ace) } }],
    'attachment-points': {
      interface: [{ 'interface-id': 'lan0', ingress: { 'acl-sets': { 'acl-set': [{ name: 'gate' }] } } }],
    },
  };
  return JSON.stringify({ 'ietf-access-control-list:acls': acls }, null, 1);
}

/** A text that only a mapping file explains. */
export function mappedText(policy: Policy): string {
  const part = (word: string, texts: readonly string[] | undefined) =>
    `${word} ${(texts ?? ['any']).join(' ')};`;
  const rule = ({ match, ...rest }: Rule, n: number) =>
    `passage p${n} { ${part('from', match.source && formatAddresses(match.source))} ${part('to', match.destination && formatAddresses(match.destination))} ${servicesOf(match)} do ${verdictOf({ match, ...rest })}; }`;
  return `${rulesOf(policy).map(rule).join('\n')}\n`;
}

function servicesOf({ protocol, destinationPort }: Match): string {
  const ports = destinationPort && `ports ${ranges(destinationPort).join(' ')};`;
  return [protocol && `protocol ${protocol[0] === 6 ? 'tcp' : 'udp'};`, ports].filter(Boolean).join(' ');
}

export const MAPPING_TEXT = `mapping: 1
name: passages
format: braces
rules:
  - at: passage {name}
    source: from
    destination: to
    protocol: protocol
    ports: ports
    action: do
policy:
  otherwise: drop
`;
