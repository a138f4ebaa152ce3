import type { EstateDevice } from '../estate/devices.ts';
import type { Zone } from '../estate/zones.ts';
import { networksOf } from './networks.ts';

/** Rules for traffic that comes in from one zone and goes through. An empty target: any way out. */
export interface RuleGroup {
  readonly from: Zone;
  readonly rules: readonly Rule[];
}

export interface Rule {
  readonly to?: Zone;
  readonly text: string;
  readonly says?: string;
  /** Only in the newer, or only in the older of the two configurations a two-slot device starts with. */
  readonly only?: 'newer' | 'older';
}

const to = (zone: Zone, text: string, says?: string, only?: Rule['only']): Rule => ({
  to: zone,
  text,
  ...(says === undefined ? {} : { says }),
  ...(only === undefined ? {} : { only }),
});
const anywhere = (text: string, says: string): Rule => ({ text, says });

/** What each zone may reach, for every zone the device serves. */
export function forwardRules(device: EstateDevice): RuleGroup[] {
  const { host } = networksOf(device);
  const groups: RuleGroup[] = [
    {
      from: 'ticketing',
      rules: [
        to(
          'outside',
          'ip saddr @ticket_desks ip daddr @ticket_servers tcp dport 443 accept',
          'desks sell tickets',
        ),
        to(
          'outside',
          'ip saddr @ticket_gates ip daddr @ticket_servers tcp dport { 443, 5671 } accept',
          'gates check tickets',
        ),
        to('outside', 'ip6 saddr @ticketing6 ip6 daddr @ticket_servers6 tcp dport 443 accept'),
        to(
          'outside',
          'ip saddr @ticket_desks ip daddr @payment_gateways tcp dport @payment_ports accept',
          'card payments',
        ),
        to(
          'outside',
          'ip saddr @ticket_gates ip daddr @payment_gateways tcp dport @payment_ports accept',
          'card payments at gates',
          'newer',
        ),
        to(
          'outside',
          'ip saddr @ticket_gates tcp dport 8080 accept',
          'gate maker, until the works end',
          'older',
        ),
        to(
          'office',
          'ip saddr @ticket_desks ip daddr @office_printers tcp dport { 631, 9100 } accept',
          'receipts',
        ),
        to('outside', 'ip daddr @name_servers meta l4proto { tcp, udp } th dport 53 accept'),
        to('outside', 'ip6 daddr @name_servers6 meta l4proto { tcp, udp } th dport 53 accept'),
        to('outside', 'ip daddr @time_servers udp dport 123 accept'),
        to('cctv', 'drop', 'tickets never reach cameras'),
        anywhere('limit rate 5/second log prefix "ticketing refused: "', 'a few for the log'),
        anywhere('reject with icmpx type admin-prohibited', 'tell the desk at once'),
      ],
    },
    {
      from: 'cctv',
      rules: [
        to(
          'outside',
          'ip saddr @cameras ip daddr @cctv_recorders tcp dport @camera_ports accept',
          'cameras to recorders',
        ),
        to('outside', 'ip saddr @cameras ip daddr @cctv_recorders udp dport 6970-6999 accept', 'streams'),
        to('outside', 'ip saddr @cameras ip daddr @time_servers udp dport 123 accept'),
        to('control', 'ip saddr @cameras ip daddr @control_desks tcp dport 554 accept', 'the ramp, live'),
        anywhere('drop', 'cameras reach nothing else'),
      ],
    },
    {
      from: 'crew',
      rules: [
        to('ticketing', 'drop', 'crew never reach tickets'),
        to('cctv', 'drop', 'crew never reach cameras'),
        to('control', 'ip saddr @crew_wifi ip daddr @control_desks tcp dport 443 accept', 'rosters'),
        to('upkeep', 'drop'),
        to(
          'outside',
          'ip saddr @crew_wifi ip daddr @name_servers meta l4proto { tcp, udp } th dport 53 accept',
        ),
        to('outside', 'ip saddr @crew_wifi ip daddr 10.0.0.0/8 drop', 'nothing of ours beyond this harbour'),
        to(
          'outside',
          'ip saddr @crew_wifi tcp dport { 25, 465, 587 } drop',
          'no mail from crew devices',
          'newer',
        ),
        to('outside', 'ip saddr @crew_wifi tcp dport @web_ports accept', 'the web'),
        to('outside', 'ip saddr @crew_wifi udp dport { 443, 3478, 4500 } accept', 'calls home'),
        to('outside', 'ip6 saddr @crew_wifi6 ip6 daddr 2001:db8::/32 drop'),
        to('outside', 'ip6 saddr @crew_wifi6 tcp dport @web_ports accept'),
      ],
    },
    {
      from: 'control',
      rules: [
        to(
          'outside',
          'ip saddr @control_desks ip daddr @control_centre tcp dport { 443, 5060, 5061 } accept',
          'fleet control',
        ),
        to(
          'outside',
          'ip saddr @control_desks ip daddr @control_centre udp dport 16384-16511 accept',
          'voice',
        ),
        to(
          'outside',
          'ip saddr @control_desks ip daddr @other_harbours tcp dport 5061 accept',
          'harbour to harbour',
        ),
        to('outside', 'ip saddr @control_desks ip daddr @other_harbours udp dport 16384-16511 accept'),
        to(
          'radar',
          'ip saddr @control_desks ip daddr @radar_masts tcp dport { 443, 10110 } accept',
          'radar picture',
        ),
        to('cctv', 'ip saddr @control_desks ip daddr @cameras tcp dport 554 accept', 'the ramp, live'),
        to('office', 'ip saddr @control_desks ip daddr @office_printers tcp dport 631 accept'),
        to('outside', 'ip daddr @name_servers udp dport 53 accept'),
        to('outside', 'ip daddr @time_servers udp dport 123 accept'),
        to('outside', 'ip daddr @log_collectors udp dport 514 accept'),
        anywhere('log prefix "control refused: "', 'all of them: it is control'),
      ],
    },
    {
      from: 'radar',
      rules: [
        to(
          'control',
          'ip saddr @radar_masts ip daddr @control_desks udp dport 10110 accept',
          'sentences from the masts',
        ),
        to(
          'outside',
          'ip saddr @radar_masts ip daddr @control_centre tcp dport 8443 accept',
          'weather to fleet control',
        ),
        to('outside', 'ip saddr @radar_masts ip daddr @time_servers udp dport 123 accept'),
        to(
          'outside',
          `ip saddr ${host('radar', 12)} tcp dport 22 accept`,
          'left from commissioning',
          'older',
        ),
      ],
    },
    {
      from: 'office',
      rules: [
        to('outside', 'ip saddr @office_printers drop', 'printers stay at home'),
        to('outside', 'ip saddr @office_lan tcp dport @web_ports accept', 'the web'),
        to(
          'outside',
          'ip saddr @office_lan ip daddr 10.15.73.0/24 tcp dport { 143, 443, 445, 993 } accept',
          'files and mail at the depot',
        ),
        to('outside', 'ip6 saddr @office_lan6 tcp dport @web_ports accept'),
        to(
          'outside',
          'ip saddr @office_lan ip daddr @name_servers meta l4proto { tcp, udp } th dport 53 accept',
        ),
        to('outside', 'ip saddr @office_lan ip daddr @time_servers udp dport 123 accept'),
        to(
          'ticketing',
          'ip saddr @office_lan ip daddr @ticket_desks tcp dport 5900 accept',
          'help at a desk',
        ),
        to('control', 'ip saddr @office_lan drop', 'the office never reaches control'),
      ],
    },
    {
      from: 'passenger',
      rules: [
        to('outside', 'ip saddr @passenger_wifi ip daddr 10.0.0.0/8 drop', 'passengers see nothing of ours'),
        to('outside', 'ip saddr @passenger_wifi tcp dport { 25, 135, 137-139, 445 } drop'),
        to('outside', 'ip saddr @passenger_wifi ct count over 20000 drop', 'a crowd, not a flood'),
        to('outside', 'ip saddr @passenger_wifi tcp dport 1-65535 accept', 'the world'),
        to('outside', 'ip saddr @passenger_wifi udp dport 1-65535 accept'),
        to('outside', 'ip saddr @passenger_wifi icmp type echo-request accept'),
        anywhere('drop', 'passengers only go out'),
      ],
    },
    {
      from: 'remote',
      rules: [
        to(
          'office',
          'ip saddr @remote_staff ip daddr @office_lan tcp dport { 443, 445, 3389 } accept',
          'staff at their desk',
        ),
        to(
          'outside',
          'ip saddr @remote_staff ip daddr 10.15.73.0/24 tcp dport { 143, 443, 993 } accept',
          'files and mail',
        ),
        to(
          'outside',
          'ip saddr @radar_maker ip daddr 10.0.0.0/8 tcp dport 443 ct state new log prefix "radar maker: " accept',
          'with a trace',
        ),
        to('outside', 'ip saddr @remote_staff ip daddr @name_servers udp dport 53 accept'),
        to('outside', 'ip saddr @remote_staff ip daddr @control_centre drop'),
        to('upkeep', 'drop', 'nobody from afar reaches upkeep'),
        anywhere('limit rate 2/second log prefix "afar refused: "', 'a few for the log'),
      ],
    },
    {
      from: 'outside',
      rules: [
        { text: 'ct status dnat accept', says: 'what the address table let in' },
        to(
          'cctv',
          'ip saddr @cctv_recorders ip daddr @cameras tcp dport @camera_ports accept',
          'recorders call cameras',
        ),
        to(
          'control',
          'ip saddr @control_centre ip daddr @control_desks tcp dport { 443, 5061 } accept',
          'fleet control calls',
        ),
        to('control', 'ip saddr @control_centre ip daddr @control_desks udp dport 16384-16511 accept'),
        to(
          'control',
          'ip saddr @other_harbours ip daddr @control_desks tcp dport 5061 accept',
          'harbour to harbour',
        ),
        to('control', 'ip saddr @other_harbours ip daddr @control_desks udp dport 16384-16511 accept'),
        to(
          'ticketing',
          'ip saddr @ticket_servers ip daddr @ticket_gates tcp dport 8443 accept',
          'gates are told',
        ),
        to('radar', 'ip saddr @control_centre ip daddr @radar_masts tcp dport 443 accept'),
        to('upkeep', 'ip saddr @workbench tcp dport { 22, 443 } accept', 'upkeep of what stands behind'),
        to('upkeep', 'ip6 saddr @workbench6 tcp dport 22 accept'),
      ],
    },
    {
      from: 'upkeep',
      rules: [
        to('outside', 'ip daddr @log_collectors udp dport 514 accept'),
        to('outside', 'ip daddr @time_servers udp dport 123 accept'),
        to('outside', 'ip daddr @name_servers udp dport 53 accept'),
        to('outside', 'ip daddr @release_mirror tcp dport 443 accept', 'releases'),
        to(
          'cctv',
          'ip saddr @cctv_viewers ip daddr @cameras tcp dport { 80, 554 } accept',
          'looking after cameras',
        ),
      ],
    },
  ];
  const serves = (zone: Zone) => device.zones.includes(zone);
  return groups
    .filter((group) => serves(group.from))
    .map((group) => ({
      from: group.from,
      rules: group.rules.filter((rule) => rule.to === undefined || serves(rule.to)),
    }));
}
