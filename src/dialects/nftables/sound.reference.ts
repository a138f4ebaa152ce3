/** Sound rulesets that use much of the language, to mutate. */
export const SOUND = [
  `table inet t { set s { type ipv4_addr . inet_service; flags interval; elements = { 10.0.0.0/8 . 22-80 }; }
  chain side { ip saddr . tcp dport @s drop; return; }
  chain c { type filter hook forward priority filter - 1; policy drop;
    ct state vmap { established : accept, invalid : drop }
    iifname "lan*" tcp dport { 22, 443 } limit rate 5/second burst 3 packets jump side
    ip6 saddr 2001:db8::/32 icmpv6 type { echo-request, 133-136 } accept comment "quay"
    tcp flags & (fin | syn) == syn reject with tcp reset
  }
}
define crew = { 10.1.0.0/16 }
add rule inet t c ip saddr $crew accept
`,
  `table ip n { map m { type inet_service : ipv4_addr; elements = { 80 : 10.0.0.1 }; }
  chain p { type nat hook prerouting priority dstnat; dnat to tcp dport map @m; redirect to :8080; }
  chain q { type nat hook postrouting priority srcnat; masquerade random; snat to 192.0.2.1-192.0.2.9:1024-2047; }
}`,
  `{"nftables": [{"table": {"family": "ip", "name": "t"}},
 {"chain": {"family": "ip", "table": "t", "name": "c", "type": "filter", "hook": "input", "prio": 0, "policy": "drop"}},
 {"set": {"family": "ip", "name": "s", "table": "t", "type": "ipv4_addr", "flags": ["interval"], "elem": [{"prefix": {"addr": "10.0.0.0", "len": 8}}]}},
 {"rule": {"family": "ip", "table": "t", "chain": "c", "expr": [{"match": {"op": "==", "left": {"payload": {"protocol": "ip", "field": "saddr"}}, "right": "@s"}}, {"match": {"op": "in", "left": {"ct": {"key": "state"}}, "right": ["new"]}}, {"accept": null}]}}]}`,
];
