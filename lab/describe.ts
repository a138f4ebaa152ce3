import { join } from 'node:path';
import type { Gateway } from './gateway.ts';
import type { Lab } from './lab.ts';

const SNMP_SECRETS = ['snmpUser', 'snmpAuthPassword', 'snmpPrivacyPassword'];

/** The command that takes the gateway into Tuckpoint's care, by its plain login or its command shell. */
function careCommand({ reach }: Gateway, dir: string, login: 'plain' | 'shell'): string {
  const { user, handbook } = login === 'plain' ? reach : reach.shell;
  const names = login === 'plain' ? SNMP_SECRETS : ['upkeep'];
  return [
    `npx tuckpoint device add ${reach.hostname}`,
    `--handbook ${handbook}`,
    `--address ${reach.address} --user ${user} --key-file ${reach.keyFile}`,
    `--secret ${names.map((name) => `${name}=${join(dir, 'keys', name)}`).join(' ')}`,
  ].join(' \\\n                 ');
}

/** One gateway as text: where it is, how to log in, how to read it, what stands behind it. */
function describeGateway(gateway: Gateway, dir: string): string {
  const { reach, plan, hosts } = gateway;
  const { v3 } = reach.snmp;
  const behind = Object.entries(hosts)
    .map(([leg, host]) => `${leg} ${host.address4} ${host.address6} (namespace ${host.netns})`)
    .join('\n              ');
  return `${plan.number}  ${reach.hostname}  ${reach.model}  ${gateway.state}, boots: ${gateway.bootCount}
   address     ${reach.address} port ${reach.port}; it sees the workbench as ${reach.workbench}
   plain login ssh -i ${reach.keyFile} ${reach.user}@${reach.address}
               handbook ${reach.handbook}
   own shell   ssh -i ${reach.keyFile} ${reach.shell.user}@${reach.address}   upkeep word ${reach.shell.upkeepWord}
               handbook ${reach.shell.handbook}
   host key    ${reach.hostKeyFingerprint}
   SNMP v2c    community ${reach.snmp.community}
   SNMP v3     user ${v3.user}, ${v3.authProtocol} ${v3.authPassword}, ${v3.privacyProtocol} ${v3.privacyPassword}
   hosts       ${behind}
   console     ${gateway.consoleLog}
   into care   ${careCommand(gateway, dir, 'plain')}
   or          ${careCommand(gateway, dir, 'shell')}
`;
}

export function describeLab(lab: Lab): string {
  return `Lab in ${lab.dir}\n\n${lab.gateways.map((gateway) => describeGateway(gateway, lab.dir)).join('\n')}`;
}

/** The same for programs. */
export function labAsData(lab: Lab): unknown {
  return {
    dir: lab.dir,
    gateways: lab.gateways.map((gateway) => ({
      number: gateway.plan.number,
      state: gateway.state,
      boots: gateway.bootCount,
      ...gateway.reach,
      hosts: gateway.hosts,
    })),
  };
}
