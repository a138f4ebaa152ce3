import { accessSync, constants } from 'node:fs';
import { delimiter, join } from 'node:path';
import { labError } from './errors.ts';

/** Programs the lab runs, and the Debian package each comes from. */
const PROGRAMS: Readonly<Record<string, string>> = {
  ip: 'iproute2',
  nft: 'nftables',
  sshd: 'openssh-server',
  'ssh-keygen': 'openssh-client',
  snmpd: 'snmpd',
  ping: 'iputils-ping',
  curl: 'curl',
  openssl: 'openssl',
  unshare: 'util-linux',
  setpriv: 'util-linux',
  pgrep: 'procps',
  sysctl: 'procps',
  ncat: 'ncat',
};

function isInstalled(program: string): boolean {
  const folders = [...(process.env.PATH ?? '').split(delimiter), '/usr/local/sbin', '/usr/sbin', '/sbin'];
  return folders.some((folder) => {
    try {
      accessSync(join(folder, program), constants.X_OK);
      return true;
    } catch {
      return false;
    }
  });
}

/** Why the lab cannot run on this machine, as one sentence; null when it can. */
export function whyNoLab(): string | null {
  if (process.platform !== 'linux')
    return `The lab makes gateways of Linux network namespaces, and this is ${process.platform}.`;
  if (process.getuid?.() !== 0) return 'The lab makes network namespaces and mounts, which only root may do.';
  const missing = Object.keys(PROGRAMS).filter((program) => !isInstalled(program));
  if (missing.length === 0) return null;
  const packages = [...new Set(missing.map((program) => PROGRAMS[program]))];
  return `The lab needs ${missing.join(', ')} (Debian: apt-get install ${packages.join(' ')}).`;
}

/** Throws `lab/not-here` when the lab cannot run on this machine. */
export function requireLab(): void {
  const why = whyNoLab();
  if (why !== null)
    throw labError('lab/not-here', why, {
      advice: 'The practice estate needs none of this: see docs/start.md.',
    });
}
