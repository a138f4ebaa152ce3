/*
 * Examples copied from IETF documents. Copyright (c) IETF Trust and the persons identified as the authors of the
 * documents. Redistribution and use in source and binary forms, with or without modification, is permitted pursuant
 * to, and subject to the license terms contained in, the Revised BSD License set forth in Section 4.c of the IETF
 * Trust's Legal Provisions Relating to IETF Documents (https://trustee.ietf.org/license-info).
 * Page breaks of the documents are removed and folded lines joined; nothing else is changed.
 */

/** Routing of RFC 8349 and the JSON encoding of RFC 7951, as printed. */
/** RFC 8349 appendix D: the data tree of a router. */
export const routing = `{
  "ietf-interfaces:interfaces": {
    "interface": [
      {
        "name": "eth0",
        "type": "iana-if-type:ethernetCsmacd",
        "description": "Uplink to ISP.",
        "phys-address": "00:0C:42:E5:B1:E9",
        "oper-status": "up",
        "statistics": {
          "discontinuity-time": "2015-10-24T17:11:27+02:00"
        },
        "ietf-ip:ipv4": {
          "forwarding": true,
          "mtu": 1500,
          "address": [
            {
              "ip": "192.0.2.1",
              "prefix-length": 24
            }
          ]
        },
        "ietf-ip:ipv6": {
          "forwarding": true,
          "mtu": 1500,
          "address": [
            {
              "ip": "2001:0db8:0:1::1",
              "prefix-length": 64
            }
          ],
          "autoconf": {
            "create-global-addresses": false
          },
          "ietf-ipv6-unicast-routing:ipv6-router-advertisements": {
            "send-advertisements": false
          }
        }
      },
      {
        "name": "eth1",
        "type": "iana-if-type:ethernetCsmacd",
        "description": "Interface to the internal network.",
        "phys-address": "00:0C:42:E5:B1:EA",
        "oper-status": "up",
        "statistics": {
          "discontinuity-time": "2015-10-24T17:11:29+02:00"
        },
        "ietf-ip:ipv4": {
          "forwarding": true,
          "mtu": 1500,
          "address": [
            {
              "ip": "198.51.100.1",
              "prefix-length": 24
            }
          ]
        },
        "ietf-ip:ipv6": {
          "forwarding": true,
          "mtu": 1500,
          "address": [
            {
              "ip": "2001:0db8:0:2::1",
              "prefix-length": 64
            }
          ],
          "autoconf": {
            "create-global-addresses": false
          },
          "ietf-ipv6-unicast-routing:ipv6-router-advertisements": {
            "send-advertisements": true,
            "prefix-list": {
              "prefix": [
                {
                  "prefix-spec": "2001:db8:0:2::/64"
                }
              ]
            }
          }
        }
      }
    ]
  },

  "ietf-routing:routing": {
    "router-id": "192.0.2.1",
    "control-plane-protocols": {
      "control-plane-protocol": [
        {
          "type": "ietf-routing:static",
          "name": "st0",
          "description":
            "Static routing is used for the internal network.",
          "static-routes": {
            "ietf-ipv4-unicast-routing:ipv4": {
              "route": [
                {
                  "destination-prefix": "0.0.0.0/0",
                  "next-hop": {
                    "next-hop-address": "192.0.2.2"
                  }
                }
              ]
            },
            "ietf-ipv6-unicast-routing:ipv6": {
              "route": [
                {
                  "destination-prefix": "::/0",
                  "next-hop": {
                    "next-hop-address": "2001:db8:0:1::2"
                  }
                }
              ]
            }
          }
        }
      ]
    },
    "ribs": {
      "rib": [
        {
          "name": "ipv4-master",
          "address-family":
            "ietf-ipv4-unicast-routing:ipv4-unicast",
          "default-rib": true,
          "routes": {
            "route": [
              {
                "ietf-ipv4-unicast-routing:destination-prefix":
                  "192.0.2.1/24",
                "next-hop": {
                  "outgoing-interface": "eth0"
                },
                "route-preference": 0,
                "source-protocol": "ietf-routing:direct",
                "last-updated": "2015-10-24T17:11:27+02:00"
              },
              {
                "ietf-ipv4-unicast-routing:destination-prefix":
                  "198.51.100.0/24",
                "next-hop": {
                  "outgoing-interface": "eth1"
                },
                "source-protocol": "ietf-routing:direct",
                "route-preference": 0,
                "last-updated": "2015-10-24T17:11:27+02:00"
              },
              {
                "ietf-ipv4-unicast-routing:destination-prefix":
                  "0.0.0.0/0",
                "source-protocol": "ietf-routing:static",
                "route-preference": 5,
                "next-hop": {
                  "ietf-ipv4-unicast-routing:next-hop-address":
                    "192.0.2.2"
                },
                "last-updated": "2015-10-24T18:02:45+02:00"
              }
            ]
          }
        },
        {
          "name": "ipv6-master",
          "address-family":
            "ietf-ipv6-unicast-routing:ipv6-unicast",
          "default-rib": true,
          "routes": {
            "route": [
              {
                "ietf-ipv6-unicast-routing:destination-prefix":
                  "2001:db8:0:1::/64",
                "next-hop": {
                  "outgoing-interface": "eth0"
                },
                "source-protocol": "ietf-routing:direct",
                "route-preference": 0,
                "last-updated": "2015-10-24T17:11:27+02:00"
              },
              {
                "ietf-ipv6-unicast-routing:destination-prefix":
                  "2001:db8:0:2::/64",
                "next-hop": {
                  "outgoing-interface": "eth1"
                },
                "source-protocol": "ietf-routing:direct",
                "route-preference": 0,
                "last-updated": "2015-10-24T17:11:27+02:00"
              },
              {
                "ietf-ipv6-unicast-routing:destination-prefix":
                  "::/0",
                "next-hop": {
                  "ietf-ipv6-unicast-routing:next-hop-address":
                    "2001:db8:0:1::2"
                },
                "source-protocol": "ietf-routing:static",
                "route-preference": 5,
                "last-updated": "2015-10-24T18:02:45+02:00"
              }
            ]
          }
        }
      ]
    }
  }
}
`;

/** RFC 8343 appendix D and E in the JSON encoding of RFC 7951 (appendix A). */
export const interfacesJson = `{
  "ietf-interfaces:interfaces": {
    "interface": [
      {
        "name": "eth0",
        "type": "iana-if-type:ethernetCsmacd",
        "enabled": false
      },
      {
        "name": "eth1",
        "type": "iana-if-type:ethernetCsmacd",
        "enabled": true,
        "ex-vlan:vlan-tagging": true
      },
      {
        "name": "eth1.10",
        "type": "iana-if-type:l2vlan",
        "enabled": true,
        "ex-vlan:base-interface": "eth1",
        "ex-vlan:vlan-id": 10
      },
      {
        "name": "lo1",
        "type": "iana-if-type:softwareLoopback",
        "enabled": true
      }
    ]
  },
  "ietf-interfaces:interfaces-state": {
    "interface": [
      {
        "name": "eth0",
        "type": "iana-if-type:ethernetCsmacd",
        "admin-status": "down",
        "oper-status": "down",
        "if-index": 2,
        "phys-address": "00:01:02:03:04:05",
        "statistics": {
          "discontinuity-time": "2013-04-01T03:00:00+00:00"
        }
      },
      {
        "name": "eth1",
        "type": "iana-if-type:ethernetCsmacd",
        "admin-status": "up",
        "oper-status": "up",
        "if-index": 7,
        "phys-address": "00:01:02:03:04:06",
        "higher-layer-if": [
          "eth1.10"
        ],
        "statistics": {
          "discontinuity-time": "2013-04-01T03:00:00+00:00"
        }
      },
      {
        "name": "eth1.10",
        "type": "iana-if-type:l2vlan",
        "admin-status": "up",
        "oper-status": "up",
        "if-index": 9,
        "lower-layer-if": [
          "eth1"
        ],
        "statistics": {
          "discontinuity-time": "2013-04-01T03:00:00+00:00"
        }
      },
      {
        "name": "eth2",
        "type": "iana-if-type:ethernetCsmacd",
        "admin-status": "down",
        "oper-status": "down",
        "if-index": 8,
        "phys-address": "00:01:02:03:04:07",
        "statistics": {
          "discontinuity-time": "2013-04-01T03:00:00+00:00"
        }
      },
      {
        "name": "lo1",
        "type": "iana-if-type:softwareLoopback",
        "admin-status": "up",
        "oper-status": "up",
        "if-index": 1,
        "statistics": {
          "discontinuity-time": "2013-04-01T03:00:00+00:00"
        }
      }
    ]
  }
}
`;
