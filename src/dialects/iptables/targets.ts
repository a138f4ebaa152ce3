import type { Expression, Nat, Statement, Verdict } from '../netfilter/index.ts';
import { addressExpression } from './matches.ts';
import type { Option } from './words.ts';

/** Targets after which the packet simply goes on. */
const INERT: ReadonlySet<string> = new Set(
  (
    'LOG NFLOG ULOG AUDIT TRACE SECMARK CONNSECMARK CLASSIFY DSCP TOS TTL HL TCPMSS TCPOPTSTRIP CHECKSUM SET IDLETIMER ' +
    'LED RATEEST TEE CONTINUE ECN HMARK'
  ).split(' '),
);

/** Targets that take the packet out of our sight. */
const ELSEWHERE: ReadonlySet<string> = new Set(
  'TPROXY SYNPROXY NETMAP CLUSTERIP DNPT SNPT MIRROR'.split(' '),
);

const verdict = (word: Verdict['verdict'], chain: string | null = null): Statement => ({
  kind: 'verdict',
  verdict: word,
  chain,
});

/** The statements that a rule's target stands for; `chains` are the table's own. Null when it is not known. */
export function targetOf(
  name: string,
  jump: boolean,
  options: readonly Option[],
  chains: ReadonlyMap<string, unknown>,
): Statement[] | null {
  if (chains.has(name)) return [verdict(jump ? 'jump' : 'goto', name)];
  const get = (option: string): string =>
    options.find((candidate) => candidate.name === option)?.values[0] ?? '';
  const text = [name, ...options.flatMap((option) => [option.name, ...option.values])].join(' ');
  switch (name) {
    case 'ACCEPT':
      return [verdict('accept')];
    case 'DROP':
      return [verdict('drop')];
    case 'RETURN':
      return [verdict('return')];
    case 'QUEUE':
    case 'NFQUEUE':
      return [{ kind: 'elsewhere', text: `queue ${text}` }];
    case 'REJECT': {
      const kind = get('--reject-with');
      return [{ kind: 'reject', with: kind === 'tcp-reset' ? 'tcp reset' : '' }];
    }
    case 'NOTRACK':
      return [{ kind: 'notrack' }];
    case 'CT':
      return options.some((option) => option.name === '--notrack')
        ? [{ kind: 'notrack' }]
        : [{ kind: 'inert', text }];
    case 'MARK':
      return [{ kind: 'change', field: 'mark --mark', value: text }];
    case 'CONNMARK':
      return [
        { kind: 'change', field: 'connmark --mark', value: text },
        { kind: 'change', field: 'mark --mark', value: text },
      ];
    case 'SNAT':
      return [natOf('snat', get('--to-source'))];
    case 'DNAT':
      return [natOf('dnat', get('--to-destination'))];
    case 'MASQUERADE':
      return [natOf('masquerade', portsOnly(get('--to-ports')))];
    case 'REDIRECT':
      return [natOf('redirect', portsOnly(get('--to-ports')))];
    default:
  }
  if (INERT.has(name)) return [{ kind: 'inert', text }];
  return ELSEWHERE.has(name) ? [{ kind: 'elsewhere', text }] : null;
}

const portsOnly = (ports: string): string => (ports === '' ? '' : `:${ports}`);

/** `10.0.0.1-10.0.0.9:1024-2047`, `[2001:db8::1]:80`, `:8080` */
function natOf(nat: Nat['nat'], target: string): Nat {
  const bracketed = /^\[([^\]]+)\](?:-\[([^\]]+)\])?(?::(.+))?$/.exec(target);
  const plain = /^([^:]*)(?::(.+))?$/.exec(target);
  let address: string;
  let ports: string | undefined;
  if (bracketed !== null) {
    address = bracketed[2] === undefined ? bracketed[1]! : `${bracketed[1]}-${bracketed[2]}`;
    ports = bracketed[3];
  } else if (plain !== null) [, address, ports] = [plain[0], plain[1]!, plain[2]];
  else address = target;
  return {
    kind: 'nat',
    nat,
    family: null,
    address: address === '' ? null : rangeExpression(address),
    port: ports === undefined ? null : rangeExpression(ports),
    flags: [],
  };
}

function rangeExpression(text: string): Expression {
  const [from = '', to] = text.split('-');
  return to === undefined ? addressExpression(from) : { kind: 'range', from, to };
}
