import type { Gateway } from './gateway.ts';
import type { Lab } from './lab.ts';

/** One gateway as text: where it is, how to log in, how to read it, what stands behind it. */
function describeGateway(gateway: Gateway): string {
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
`;
}

export function describeLab(lab: Lab): string {
  return `Lab in ${lab.dir}\n\n${lab.gateways.map(describeGateway).join('\n')}`;
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
