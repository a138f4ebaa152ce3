import type { Expression, Statement } from '../netfilter/index.ts';
import type { Option } from './words.ts';

const field = (name: string): Expression => ({ kind: 'field', name });

const match = (name: string, right: Expression, negated: boolean): Statement => ({
  kind: 'match',
  left: field(name),
  op: negated ? '!=' : '==',
  right,
});

/** Matches that count or remember: each is a condition of its own rule. */
const COUNTING: ReadonlySet<string> = new Set([
  'limit',
  'hashlimit',
  'recent',
  'quota',
  'statistic',
  'connlimit',
  'connbytes',
  'rateest',
  'nfacct',
]);

/** `10.0.0.0/8` and `10.0.0.0/255.0.0.0` as a prefix. */
export function addressExpression(text: string): Expression {
  const slash = text.indexOf('/');
  return slash < 0 ? text : { kind: 'prefix', address: text.slice(0, slash), length: text.slice(slash + 1) };
}

/** `1:1023,8080` as ranges and values; an open side reaches to the end of the ports. */
function portExpression(text: string): Expression {
  const items = text.split(',').map((part): Expression => {
    const [from = '', to] = part.split(':');
    return to === undefined ? from : { kind: 'range', from: from || '0', to: to || '65535' };
  });
  return items.length === 1 ? items[0]! : { kind: 'set', elements: items };
}

/** `+` at the end stands for any ending; here that is `*`. */
const interfaceName = (text: string): string => text.replace(/\+$/, '*');

/**
 * The statements of one match option. Null for options that say nothing about the packet (a comment); options that
 * the packet space cannot express become named conditions.
 */
export function matchOf(option: Option, ip: 'ip' | 'ip6', protocol: string): Statement[] | null {
  const { name, module, negated } = option;
  const value = option.values[0] ?? '';
  const ports = ['tcp', 'udp', 'udplite', 'sctp', 'dccp'].includes(protocol) ? protocol : 'th';
  switch (name) {
    case '-p':
      return value === 'all' || value === '0' ? [] : [match('meta l4proto', value, negated)];
    case '-s':
      return [match(`${ip} saddr`, addressExpression(value), negated)];
    case '-d':
      return [match(`${ip} daddr`, addressExpression(value), negated)];
    case '-i':
      return value === '+' && !negated ? [] : [match('meta iifname', interfaceName(value), negated)];
    case '-o':
      return value === '+' && !negated ? [] : [match('meta oifname', interfaceName(value), negated)];
    case '-f':
      return [match('fragment', 'second and later', negated)];
    case '-m':
    case '-c':
    case '-4':
    case '-6':
    case '--comment':
      return [];
    case '--sport':
    case '--source-port':
    case '--sports':
    case '--source-ports':
      return [match(`${ports} sport`, portExpression(value), negated)];
    case '--dport':
    case '--destination-port':
    case '--dports':
    case '--destination-ports':
      return [match(`${ports} dport`, portExpression(value), negated)];
    case '--ports': {
      const both = [
        match(`${ports} sport`, portExpression(value), negated),
        match(`${ports} dport`, portExpression(value), negated),
      ];
      return negated ? both : [{ kind: 'either', of: both }];
    }
    case '--src-range':
    case '--dst-range': {
      const [from = '', to = ''] = value.split('-');
      return [
        match(`${ip} ${name === '--src-range' ? 'saddr' : 'daddr'}`, { kind: 'range', from, to }, negated),
      ];
    }
    case '--icmp-type':
    case '--icmpv6-type':
      return icmpMatch(name === '--icmp-type' ? 'icmp' : 'icmpv6', value, negated);
    case '--state':
    case '--ctstate': {
      const states = value.toLowerCase().split(',');
      if (states.includes('snat') || states.includes('dnat')) break;
      return [match('ct state', { kind: 'set', elements: states }, negated)];
    }
    case '--tcp-flags':
      return [match('tcp flags', `${option.values[0] ?? ''} ${option.values[1] ?? ''}`, negated)];
    case '--syn':
      return [match('tcp flags', 'FIN,SYN,RST,ACK SYN', negated)];
    default:
  }
  const text = option.values.join(' ');
  if (COUNTING.has(module)) {
    return [
      {
        kind: 'condition',
        text: `${negated ? 'not ' : ''}${module} ${name}${text === '' ? '' : ` ${text}`}`,
      },
    ];
  }
  return [match(`${module} ${name}`, text, negated)];
}

/** Modules that say nothing without an option of theirs: those of a protocol that `-p` names already, and comments. */
const SILENT: ReadonlySet<string> = new Set(
  'tcp udp udplite sctp dccp icmp icmp6 icmpv6 ipv6-icmp esp ah mh comment'.split(' '),
);

/** Modules that match by themselves, without any option: `-m socket`, `-m rpfilter`. They become named conditions. */
export function bareMatches(options: readonly Option[]): Statement[] {
  const modules = options.flatMap(({ name, values: [module = ''] }) => (name === '-m' ? [module] : []));
  return modules
    .filter((module) => !SILENT.has(module) && !options.some((option) => option.module === module))
    .map((module) => match(module, 'matches', false));
}

function icmpMatch(header: 'icmp' | 'icmpv6', value: string, negated: boolean): Statement[] {
  if (value === 'any' || value === '255')
    return negated ? [match(`${header} type`, { kind: 'any' }, true)] : [];
  const [type = '', code] = value.split('/');
  const number = TYPE_NAMES[header][type] ?? type;
  if (code === undefined) return [match(`${header} type`, number, negated)];
  if (negated) {
    // Neither this type with this code: a pair.
    return [
      {
        kind: 'match',
        left: { kind: 'concat', parts: [field(`${header} type`), field(`${header} code`)] },
        op: '!=',
        right: { kind: 'set', elements: [{ kind: 'concat', parts: [number, code] }] },
      },
    ];
  }
  return [match(`${header} type`, number, false), match(`${header} code`, code, false)];
}

/** Names that differ from those of nft(8): iptables-extensions(8), icmp and icmp6. */
const TYPE_NAMES: Readonly<Record<'icmp' | 'icmpv6', Readonly<Record<string, string>>>> = {
  icmp: { ping: 'echo-request', pong: 'echo-reply', 'ttl-exceeded': 'time-exceeded' },
  icmpv6: {
    ping: 'echo-request',
    pong: 'echo-reply',
    'router-solicitation': '133',
    'router-advertisement': '134',
    'neighbour-solicitation': '135',
    'neighbor-solicitation': '135',
    'neighbour-advertisement': '136',
    'neighbor-advertisement': '136',
    redirect: '137',
  },
};
