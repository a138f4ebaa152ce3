import type { GatewayPlan } from '../plan.ts';

/** The gateway's rules in nft's own language: connection state, named sets, translation, both families. */
export function nftablesConf({ hostname, number, legs }: GatewayPlan): string {
  const { outside, inside, dmz } = legs;
  return `# Rules of ${hostname}
flush ruleset

table inet filter {
	set harbour_nets {
		type ipv4_addr
		flags interval
		elements = { 10.${number}.10.0/24, 10.${number}.20.0/24 }
	}

	set harbour_nets6 {
		type ipv6_addr
		flags interval
		elements = { ${inside.gateway6.replace('::1', '::/64')}, ${dmz.gateway6.replace('::1', '::/64')} }
	}

	set blocked {
		type ipv4_addr
		flags interval
		elements = { 198.51.100.0/25, 198.51.100.192/28 }
	}

	set web_ports {
		type inet_service
		elements = { 80, 443, 8443 }
	}

	chain input {
		type filter hook input priority filter; policy drop;
		iifname "lo" accept
		ct state established,related accept
		ct state invalid drop
		meta l4proto { icmp, ipv6-icmp } accept
		iifname "mgmt" tcp dport 22 accept
		iifname "mgmt" udp dport 161 accept
		counter comment "refused to the gateway itself"
	}

	chain forward {
		type filter hook forward priority filter; policy drop;
		ct state established,related accept
		ct state invalid drop
		ip saddr @blocked counter drop
		ip daddr @blocked counter drop
		iifname "inside" oifname "outside" ip saddr @harbour_nets accept
		iifname "inside" oifname "outside" ip6 saddr @harbour_nets6 accept
		iifname "inside" oifname "dmz" tcp dport @web_ports accept
		iifname "inside" oifname "dmz" meta l4proto { icmp, ipv6-icmp } accept
		iifname "outside" oifname "dmz" ip daddr ${dmz.host4} tcp dport 8443 ct status dnat accept
		iifname "outside" oifname "dmz" ip6 daddr ${dmz.host6} tcp dport 8443 accept
		iifname "outside" icmpv6 type echo-request limit rate 50/second accept
		counter comment "refused between the legs"
	}

	chain output {
		type filter hook output priority filter; policy accept;
	}
}

table ip nat {
	chain prerouting {
		type nat hook prerouting priority dstnat; policy accept;
		iifname "outside" ip daddr ${outside.gateway4} tcp dport 443 dnat to ${dmz.host4}:8443
	}

	chain postrouting {
		type nat hook postrouting priority srcnat; policy accept;
		oifname "outside" ip saddr @harbour_sources masquerade
	}

	set harbour_sources {
		type ipv4_addr
		flags interval
		elements = { 10.${number}.10.0/24, 10.${number}.20.0/24 }
	}
}
`;
}
