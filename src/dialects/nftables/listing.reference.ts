/** Much of the language, as nftables 1.0.6 lists it (`nft list ruleset`) after it was loaded into Linux. */
export const LISTING = `table inet filter {
	counter seen {
		packets 0 bytes 0
	}

	quota cap {
		over 500 mbytes
	}

	limit rate1 {
		rate 10/second
	}

	ct helper ftp-std {
		type "ftp" protocol tcp
		l3proto ip
	}

	ct timeout quick {
		protocol tcp
		l3proto ip
		policy = { established : 100, close : 4 }
	}

	synproxy sp {
		mss 1460
		wscale 7
		timestamp sack-perm
	}

	set plain {
		type ipv4_addr
		size 128
		timeout 1h
		gc-interval 10s
		elements = { 10.0.0.1 timeout 30m expires 29m59s992ms, 10.0.0.2 expires 59m59s992ms }
	}

	set nets {
		type ipv4_addr
		flags interval
		auto-merge
		comment "known nets"
		elements = { 10.1.0.0-10.2.0.255 }
	}

	set typed {
		typeof ip saddr . tcp dport
		elements = { 10.0.0.1 . 22,
			     10.0.0.2 . 80 }
	}

	map ports {
		type inet_service : verdict
		elements = { 22 : accept, 80 : jump web, 443 comment "tls" : goto web }
	}

	map marks {
		type ipv4_addr : mark
		elements = { 10.0.0.1 : 0x00000010 }
	}

	chain web {
		ip saddr @nets counter name "seen" accept comment "web from nets"
		limit name "rate1" log prefix "web " flags all
		quota name "cap" drop
		reject with icmpx admin-prohibited
	}

	chain input {
		comment "from outside"
		type filter hook input priority filter - 5; policy drop;
		iif "lo" accept
		ct state established,related accept
		ct state invalid counter packets 5 bytes 300 drop
		meta mark 0x00000010 ct mark 0x00000020 accept
		tcp flags syn / fin,syn,rst,ack limit rate over 5/second burst 10 packets drop
		ip dscp cs2 ip ttl 64 accept
		ip6 hoplimit 255 icmpv6 type { nd-router-advert, nd-neighbor-solicit } accept
		icmp type echo-request limit rate 4/second accept
		tcp dport vmap @ports
		udp dport 53 ct helper set "ftp-std"
		meta mark set ip saddr map @marks
		ct mark set meta mark
		meta priority set 1:2
		fib daddr . iif type { local, broadcast } accept
		meta skuid 1000 accept
		socket transparent 1 accept
		numgen random mod 2 0 accept
		jhash ip saddr mod 4 seed 0xbeef 1 accept
		meta l4proto tcp ct count over 20 reject with tcp reset
		ct bytes > 100000 drop
		ct original ip daddr 192.0.2.7 accept
		ether saddr 02:00:00:00:00:01 accept
		vlan id 20 accept
		meta pkttype multicast drop
		meta day "Monday" meta hour "08:00"-"17:00" accept
		th dport 4660 accept
		tcp option maxseg size 1000 drop
		tcp option maxseg size set 1452
		ip frag-off & 8191 != 0 drop
		notrack
		synproxy name "sp"
		log group 2 snaplen 100 queue-threshold 10
	}
}
table ip nat {
	chain pre {
		type nat hook prerouting priority dstnat; policy accept;
		iifname "wan0" tcp dport 8080 dnat to 10.0.0.9:80 random,persistent
		tcp dport 9090 redirect to :90
		ip daddr 192.0.2.8 dnat to 10.0.0.10-10.0.0.12
	}

	chain post {
		type nat hook postrouting priority srcnat; policy accept;
		ip saddr 10.9.0.0/16 snat to 192.0.2.5-192.0.2.6
	}
}
`;
