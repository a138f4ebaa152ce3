/**
 * Linux interface files: /etc/network/interfaces of ifupdown and the files of systemd-networkd, read to interfaces,
 * addresses and routes. They carry no rules. It must never run a command that stands in such a file.
 */
export { ifupdown } from './ifupdown.ts';
export { networkd } from './networkd.ts';
