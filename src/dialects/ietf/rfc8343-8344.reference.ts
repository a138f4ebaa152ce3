/*
 * Examples copied from IETF documents. Copyright (c) IETF Trust and the persons identified as the authors of the
 * documents. Redistribution and use in source and binary forms, with or without modification, is permitted pursuant
 * to, and subject to the license terms contained in, the Revised BSD License set forth in Section 4.c of the IETF
 * Trust's Legal Provisions Relating to IETF Documents (https://trustee.ietf.org/license-info).
 * Page breaks of the documents are removed and folded lines joined; nothing else is changed.
 */

/** Interfaces and addresses of RFC 8343 and RFC 8344, as printed. */
/** RFC 8343 appendix D: a get-config reply. */
export const interfaceConfig = `<rpc-reply
    xmlns="urn:ietf:params:xml:ns:netconf:base:1.0"
    message-id="101">
  <data>
    <interfaces
        xmlns="urn:ietf:params:xml:ns:yang:ietf-interfaces"
        xmlns:ianaift="urn:ietf:params:xml:ns:yang:iana-if-type"
        xmlns:vlan="http://example.com/vlan">

      <interface>
        <name>eth0</name>
        <type>ianaift:ethernetCsmacd</type>
        <enabled>false</enabled>
      </interface>

      <interface>
        <name>eth1</name>
        <type>ianaift:ethernetCsmacd</type>
        <enabled>true</enabled>
        <vlan:vlan-tagging>true</vlan:vlan-tagging>
      </interface>

      <interface>
        <name>eth1.10</name>
        <type>ianaift:l2vlan</type>
        <enabled>true</enabled>
        <vlan:base-interface>eth1</vlan:base-interface>
        <vlan:vlan-id>10</vlan:vlan-id>
      </interface>

      <interface>
        <name>lo1</name>
        <type>ianaift:softwareLoopback</type>
        <enabled>true</enabled>
      </interface>

    </interfaces>
  </data>
</rpc-reply>
`;

/** RFC 8343 appendix E: a get-data reply, with state. */
export const interfaceData = `<rpc-reply
    xmlns="urn:ietf:params:xml:ns:netconf:base:1.0"
    message-id="101">
  <data xmlns="urn:ietf:params:xml:ns:yang:ietf-netconf-datastores">
    <interfaces
        xmlns="urn:ietf:params:xml:ns:yang:ietf-interfaces"
        xmlns:ianaift="urn:ietf:params:xml:ns:yang:iana-if-type"
        xmlns:vlan="http://example.com/vlan"
        xmlns:or="urn:ietf:params:xml:ns:yang:ietf-origin">

      <interface or:origin="or:intended">
        <name>eth0</name>
        <type>ianaift:ethernetCsmacd</type>
        <enabled>false</enabled>
        <admin-status>down</admin-status>
        <oper-status>down</oper-status>
        <if-index>2</if-index>
        <phys-address>00:01:02:03:04:05</phys-address>
        <statistics>
          <discontinuity-time>
            2013-04-01T03:00:00+00:00
          </discontinuity-time>
          <!-- counters now shown here -->
        </statistics>
      </interface>

      <interface or:origin="or:intended">
        <name>eth1</name>
        <type>ianaift:ethernetCsmacd</type>
        <enabled>true</enabled>
        <admin-status>up</admin-status>
        <oper-status>up</oper-status>
        <if-index>7</if-index>
        <phys-address>00:01:02:03:04:06</phys-address>
        <higher-layer-if>eth1.10</higher-layer-if>
        <statistics>
          <discontinuity-time>
            2013-04-01T03:00:00+00:00
          </discontinuity-time>
          <!-- counters now shown here -->
        </statistics>
        <vlan:vlan-tagging>true</vlan:vlan-tagging>
      </interface>

      <interface or:origin="or:intended">
        <name>eth1.10</name>
        <type>ianaift:l2vlan</type>
        <enabled>true</enabled>
        <admin-status>up</admin-status>
        <oper-status>up</oper-status>
        <if-index>9</if-index>
        <lower-layer-if>eth1</lower-layer-if>
        <statistics>
          <discontinuity-time>
            2013-04-01T03:00:00+00:00
          </discontinuity-time>
          <!-- counters now shown here -->
        </statistics>
        <vlan:base-interface>eth1</vlan:base-interface>
        <vlan:vlan-id>10</vlan:vlan-id>
      </interface>

      <!-- This interface is not configured -->
      <interface or:origin="or:system">
        <name>eth2</name>
        <type>ianaift:ethernetCsmacd</type>
        <admin-status>down</admin-status>
        <oper-status>down</oper-status>
        <if-index>8</if-index>
        <phys-address>00:01:02:03:04:07</phys-address>
        <statistics>
          <discontinuity-time>
            2013-04-01T03:00:00+00:00
          </discontinuity-time>
          <!-- counters now shown here -->
        </statistics>
      </interface>

      <interface or:origin="or:intended">
        <name>lo1</name>
        <type>ianaift:softwareLoopback</type>
        <enabled>true</enabled>
        <admin-status>up</admin-status>
        <oper-status>up</oper-status>
        <if-index>1</if-index>
        <statistics>
          <discontinuity-time>
            2013-04-01T03:00:00+00:00
          </discontinuity-time>
          <!-- counters now shown here -->
        </statistics>
      </interface>

    </interfaces>
  </data>
</rpc-reply>
`;

/** RFC 8344 appendix A: a get-config reply. */
export const addressConfig = `<rpc-reply
    xmlns="urn:ietf:params:xml:ns:netconf:base:1.0"
    message-id="101">
  <data>
    <interfaces
        xmlns="urn:ietf:params:xml:ns:yang:ietf-interfaces"
        xmlns:ianaift="urn:ietf:params:xml:ns:yang:iana-if-type">
      <interface>
        <name>eth0</name>
        <type>ianaift:ethernetCsmacd</type>
        <ipv4 xmlns="urn:ietf:params:xml:ns:yang:ietf-ip">
          <address>
            <ip>192.0.2.1</ip>
            <prefix-length>24</prefix-length>
          </address>
        </ipv4>
        <ipv6 xmlns="urn:ietf:params:xml:ns:yang:ietf-ip">
          <mtu>1280</mtu>
          <address>
            <ip>2001:db8::10</ip>
            <prefix-length>32</prefix-length>
          </address>
          <dup-addr-detect-transmits>0</dup-addr-detect-transmits>
        </ipv6>
      </interface>
    </interfaces>
  </data>
</rpc-reply>
`;

/** RFC 8344 appendix B: a get-data reply, with state. */
export const addressData = `<rpc-reply
    xmlns="urn:ietf:params:xml:ns:netconf:base:1.0"
    message-id="101">
  <data xmlns="urn:ietf:params:xml:ns:yang:ietf-netconf-datastores">
    <interfaces
        xmlns="urn:ietf:params:xml:ns:yang:ietf-interfaces"
        xmlns:ianaift="urn:ietf:params:xml:ns:yang:iana-if-type"
        xmlns:or="urn:ietf:params:xml:ns:yang:ietf-origin">

      <interface or:origin="or:intended">
        <name>eth0</name>
        <type>ianaift:ethernetCsmacd</type>
        <!-- other parameters from ietf-interfaces omitted -->

        <ipv4 xmlns="urn:ietf:params:xml:ns:yang:ietf-ip">
          <enabled or:origin="or:default">true</enabled>
          <forwarding or:origin="or:default">false</forwarding>
          <mtu or:origin="or:system">1500</mtu>
          <address>
            <ip>192.0.2.1</ip>
            <prefix-length>24</prefix-length>
            <origin>static</origin>
          </address>
          <neighbor or:origin="or:learned">
            <ip>192.0.2.2</ip>
            <link-layer-address>
              00:00:5E:00:53:AB
            </link-layer-address>
          </neighbor>
        </ipv4>
        <ipv6 xmlns="urn:ietf:params:xml:ns:yang:ietf-ip">
          <enabled or:origin="or:default">true</enabled>
          <forwarding or:origin="or:default">false</forwarding>
          <mtu>1280</mtu>
          <address>
            <ip>2001:db8::10</ip>
            <prefix-length>32</prefix-length>
            <origin>static</origin>
            <status>preferred</status>
          </address>
          <address or:origin="or:learned">
            <ip>2001:db8::1:100</ip>
            <prefix-length>32</prefix-length>
            <origin>dhcp</origin>
            <status>preferred</status>
          </address>
          <dup-addr-detect-transmits>0</dup-addr-detect-transmits>
          <neighbor or:origin="or:learned">
            <ip>2001:db8::1</ip>
            <link-layer-address>
              00:00:5E:00:53:AB
            </link-layer-address>
            <origin>dynamic</origin>
            <is-router/>
            <state>reachable</state>
          </neighbor>
          <neighbor or:origin="or:learned">
            <ip>2001:db8::4</ip>
            <origin>dynamic</origin>
            <state>incomplete</state>
          </neighbor>
        </ipv6>
      </interface>
    </interfaces>
  </data>
</rpc-reply>
`;
