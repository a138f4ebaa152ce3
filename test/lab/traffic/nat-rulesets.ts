import type { Random } from './random.ts';

/** A random ruleset that translates: published services, maps of addresses and ports, one address for many. */
export function natRuleset(random: Random): string {
  const some = (list: readonly string[]): string[] => random.some(list, 1, list.length);
  const published = [
    'tcp dport 8000-8080 dnat ip to 10.1.2.65:443',
    'ip daddr 192.0.2.0/24 udp dport 53 dnat ip to 10.1.2.64-10.1.2.67',
    'iifname wan0 dnat ip to tcp dport map { 22 : 10.1.2.70, 80 : 10.1.2.71, 443 : 10.1.2.72 }',
    'dnat ip to ip daddr . tcp dport map @published',
    'ip saddr 10.1.0.0/16 tcp dport 5060 redirect to :5061',
    'ip daddr 203.0.113.7 accept',
    'meta l4proto { tcp, udp } ip6 daddr 2001:db8:5::7 dnat ip6 to 2001:db8:1:2::9',
    'iifname lan0 ip6 daddr 2001:db8:2::/47 tcp dport 80 dnat ip6 to [2001:db8:1::1]:8080',
  ];
  const hidden = [
    'oifname wan0 masquerade',
    'ip saddr 10.1.2.0/24 snat ip to 203.0.113.20',
    'ip daddr 10.1.2.64/26 snat ip to 198.51.100.1-198.51.100.4',
    'ip6 saddr 2001:db8:1::/48 snat ip6 to 2001:db8:ff::1',
    'tcp dport 443 return',
    'meta l4proto udp snat ip to 203.0.113.30:20000-30000',
  ];
  const early = random.chance(0.5)
    ? `  chain early { type nat hook prerouting priority dstnat - 10; policy accept; ip saddr 198.51.100.128/25 tcp dport 80 dnat ip to 10.1.2.80; tcp dport 22 accept; }\n`
    : '';
  return `table inet harbour {
  map published { type ipv4_addr . inet_service : ipv4_addr . inet_service; elements = { 192.0.2.1 . 80 : 10.1.2.90 . 8080, 203.0.113.7 . 443 : 10.1.2.91 . 8443 }; }
${early}  chain publish { type nat hook prerouting priority dstnat; policy accept;
    ${some(published).join('\n    ')}
  }
  chain hide { type nat hook postrouting priority srcnat; policy accept;
    ${some(hidden).join('\n    ')}
  }
  chain forward { type filter hook forward priority filter; policy accept;
    ip daddr 10.1.2.65 tcp dport != 443 drop
    ip daddr { 10.1.2.70-10.1.2.72, 10.1.2.80 } ct state new tcp dport 22-443 accept
    ip daddr 10.1.2.64/26 tcp dport 1024-2047 drop
    ip6 daddr 2001:db8:1:2::9 udp dport 53 drop
  }
  chain input { type filter hook input priority filter; policy accept;
    tcp dport 5060 drop
  }
}
`;
}
