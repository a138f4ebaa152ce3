import { createHash } from 'node:crypto';
import { type GatewayPlan, LEGS } from '../plan.ts';
import { nftablesConf } from './nftables.ts';

/** Words and keys that a gateway's configuration holds; made anew for each lab. */
export interface Access {
  readonly user: string;
  readonly shellUser: string;
  /** OpenSSH public key line of both logins. */
  readonly publicKey: string;
  readonly upkeepWord: string;
  readonly community: string;
  readonly snmpUser: string;
  readonly authPassword: string;
  readonly privacyPassword: string;
}

/** interfaces(5), the stanzas that the gateway's boot understands. */
function interfaces({ address, legs }: GatewayPlan): string {
  const stanzas = LEGS.map((leg) => {
    const { gateway4, length4, gateway6, host4, host6 } = legs[leg];
    const out = leg === 'outside' ? [`    gateway ${host4}\n`, `    gateway ${host6}\n`] : ['', ''];
    return `auto ${leg}
iface ${leg} inet static
    address ${gateway4}/${length4}
${out[0]}iface ${leg} inet6 static
    address ${gateway6}/64
${out[1]}`;
  });
  return `# Legs of the gateway\nauto mgmt\niface mgmt inet static\n    address ${address}/30\n\n${stanzas.join('\n')}`;
}

function hosts({ hostname, address, workbench, legs }: GatewayPlan): string {
  const lines = LEGS.flatMap((leg) => [`${legs[leg].host4} ${leg}-host`, `${legs[leg].host6} ${leg}-host6`]);
  return `127.0.0.1 localhost\n::1 localhost\n${address} ${hostname}.brackwater.example ${hostname}\n${workbench} workbench\n${lines.join('\n')}\n`;
}

function users({ user, shellUser, publicKey, upkeepWord }: Access): string {
  const salt = createHash('sha256').update(`salt ${publicKey}`).digest('hex').slice(0, 16);
  const known = createHash('sha256').update(`${salt}${upkeepWord}`).digest('hex');
  return `# login:shell:public key. Shells: sh, command-shell.
${user}:sh:${publicKey}
${shellUser}:command-shell:${publicKey}
upkeep-word:${salt}:${known}
`;
}

const SSHD = `# Logins by key only
Port 22
HostKey /disk/keys/ssh_host_ed25519_key
AuthorizedKeysFile /run/keys/%u
PermitRootLogin prohibit-password
PasswordAuthentication no
KbdInteractiveAuthentication no
UsePAM no
PrintMotd no
PrintLastLog no
X11Forwarding no
AllowTcpForwarding no
Subsystem sftp internal-sftp
`;

const SYSCTL = `# A router between its legs
net.ipv4.ip_forward = 1
net.ipv6.conf.all.forwarding = 1
net.ipv4.conf.all.rp_filter = 1
net.ipv4.conf.all.accept_redirects = 0
net.ipv6.conf.all.accept_redirects = 0
net.ipv4.conf.all.send_redirects = 0
# A cable with one neighbour: no waiting for duplicate addresses after a boot
net.ipv6.conf.outside.accept_dad = 0
net.ipv6.conf.inside.accept_dad = 0
net.ipv6.conf.dmz.accept_dad = 0
`;

function snmpd({ workbench }: GatewayPlan, access: Access): string {
  return `# Read only, from the workbench
agentAddress udp:161
rocommunity ${access.community} ${workbench}
createUser ${access.snmpUser} SHA-256 "${access.authPassword}" AES "${access.privacyPassword}"
rouser ${access.snmpUser} authpriv
sysLocation Brackwater Line
sysContact duty@brackwater.example
`;
}

/** The configuration as it leaves the factory for this estate: file name to text. */
export function factoryConfiguration(plan: GatewayPlan, access: Access): Readonly<Record<string, string>> {
  return {
    hostname: `${plan.hostname}\n`,
    hosts: hosts(plan),
    interfaces: interfaces(plan),
    'nftables.conf': nftablesConf(plan),
    sshd_config: SSHD,
    'snmpd.conf': snmpd(plan, access),
    'sysctl.conf': SYSCTL,
    users: users(access),
  };
}

/** What the spare slot holds at first: the same, but from before the service in the dmz was published. */
export function earlierConfiguration(
  current: Readonly<Record<string, string>>,
): Readonly<Record<string, string>> {
  const rules = current['nftables.conf']!.split('\n').filter((line) => !/dport (443|8443) /u.test(line));
  return { ...current, 'nftables.conf': rules.join('\n') };
}
