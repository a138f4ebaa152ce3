import type { EstateDevice } from '../estate/devices.ts';
import { forwardRules, type Rule } from './forward-rules.ts';
import { networksOf } from './networks.ts';
import { interfaceOf, type NamedSet, objectsOf } from './objects.ts';

/**
 * The firewall policy of a device as nftables text. `age` chooses between the configuration in the running slot and
 * the somewhat older one in the spare; `release` stands in its second line.
 */
export function policyOf(device: EstateDevice, release: string, age: 'newer' | 'older'): string {
  const { site } = networksOf(device);
  const groups = forwardRules(device);
  const kept = (rule: Rule) => rule.only === undefined || rule.only === age;
  return [
    `# Brackwater Line, ${site.name}: firewall policy of ${device.name}`,
    `# Written by release ${release}.`,
    '# Order matters in every chain. What no rule takes is dropped.',
    '',
    'table inet harbour {',
    ...objectsOf(device).flatMap(setText),
    ...chain('input', ['type filter hook input priority filter; policy drop;', ...inputRules(device)]),
    ...chain('forward', [
      'type filter hook forward priority filter; policy drop;',
      'ct state established,related accept comment "answers"',
      'ct state invalid drop',
      `iifname "${interfaceOf('outside')}" ip saddr @never_from_outside ip daddr != 10.0.0.0/8 drop comment "cannot come from there"`,
      'icmpv6 type { packet-too-big, time-exceeded, parameter-problem } accept comment "RFC 4890 section 4.3.1"',
      ...groups.map((group) => `iifname "${interfaceOf(group.from)}" jump from_${group.from}`),
      'limit rate 10/second log prefix "forward refused: "',
    ]),
    ...groups.flatMap((group) => chain(`from_${group.from}`, group.rules.filter(kept).map(ruleText))),
    ...chain('output', [
      'type filter hook output priority filter; policy accept;',
      'ct state invalid drop',
      `oifname "${interfaceOf('outside')}" tcp dport { 25, 23 } drop comment "the device sends neither"`,
    ]),
    '}',
    '',
    ...addressTable(device),
  ].join('\n');
}

function inputRules(device: EstateDevice): string[] {
  const upkeep = interfaceOf('upkeep');
  return [
    'ct state established,related accept comment "answers"',
    'ct state invalid drop',
    'iifname "lo" accept',
    'ip protocol icmp icmp type { echo-request, destination-unreachable, time-exceeded } limit rate 50/second accept',
    'icmpv6 type { nd-neighbor-solicit, nd-neighbor-advert, nd-router-advert, echo-request } accept',
    'ip saddr @workbench tcp dport 22 accept comment "upkeep"',
    'ip6 saddr @workbench6 tcp dport 22 accept comment "upkeep"',
    `iifname "${upkeep}" ip saddr @workbench udp dport 161 accept comment "readings"`,
    `iifname "${upkeep}" tcp dport 443 accept comment "the page on the device"`,
    ...(device.zones.includes('crew')
      ? [`iifname "${interfaceOf('crew')}" udp dport 67 accept comment "addresses for crew"`]
      : []),
    ...(device.zones.includes('passenger')
      ? [`iifname "${interfaceOf('passenger')}" udp dport 67 accept`]
      : []),
    ...(device.zones.includes('remote') ? ['udp dport 51820 accept comment "staff from afar"'] : []),
    ...(device.peer === undefined
      ? []
      : [`iifname "${upkeep}" udp dport 3780 accept comment "the other half of the pair"`]),
    `iifname "${interfaceOf('outside')}" drop comment "no trace: too many"`,
    'limit rate 5/second log prefix "input refused: "',
  ];
}

/** Address translation: only where the device stands at the carrier, which is where it serves tickets. */
function addressTable(device: EstateDevice): string[] {
  const { host } = networksOf(device);
  const outside = interfaceOf('outside');
  if (!device.zones.includes('ticketing')) return [];
  return [
    'table ip addresses {',
    ...chain('arriving', [
      'type nat hook prerouting priority dstnat; policy accept;',
      `iifname "${outside}" ip daddr ${host('outside', 80)} tcp dport 443 dnat to ${host('ticketing', 20)} comment "tickets shown at the gate"`,
      `iifname "${outside}" ip daddr ${host('outside', 80)} tcp dport 8554 dnat to ${host('cctv', 9)}:554 comment "quay camera for the web page"`,
    ]),
    ...chain('leaving', [
      'type nat hook postrouting priority srcnat; policy accept;',
      'ip daddr 10.0.0.0/8 accept comment "our own networks stay as they are"',
      `oifname "${outside}" ip saddr ${host('ticketing', 0)}/24 snat to ${host('outside', 81)} comment "tickets and payments"`,
      ...(device.zones.includes('passenger')
        ? [
            `oifname "${outside}" ip saddr ${host('passenger', 0)}/24 snat to ${host('outside', 90)}-${host('outside', 93)}`,
          ]
        : []),
      `oifname "${outside}" masquerade`,
    ]),
    '}',
    '',
  ];
}

function setText(set: NamedSet): string[] {
  const ranges = set.elements.some((element) => /[-/]/.test(element));
  return [
    `\tset ${set.name} {`,
    `\t\ttype ${set.type}`,
    ...(ranges ? ['\t\tflags interval'] : []),
    `\t\tcomment "${set.says}"`,
    `\t\telements = { ${set.elements.join(', ')} }`,
    '\t}',
    '',
  ];
}

const chain = (name: string, lines: readonly string[]): string[] => [
  `\tchain ${name} {`,
  ...lines.map((line) => `\t\t${line}`),
  '\t}',
  '',
];

function ruleText(rule: Rule): string {
  const way = rule.to === undefined ? '' : `oifname "${interfaceOf(rule.to)}" `;
  return `${way}${rule.text}${rule.says === undefined ? '' : ` comment "${rule.says}"`}`;
}
