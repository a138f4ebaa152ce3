// What the two commands share: the packages of this project, and (Linux, root) the programs the lab needs.
import { spawnSync } from 'node:child_process';
import { existsSync, statSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

export const root = path.dirname(path.dirname(fileURLToPath(import.meta.url)));

/** Programs that tests and the lab use, and the Debian package each is in. */
const PROGRAMS = {
  nft: 'nftables',
  ip: 'iproute2',
  sshd: 'openssh-server',
  ssh: 'openssh-client',
  'sftp-server': 'openssh-sftp-server',
  snmpd: 'snmpd',
  snmpget: 'snmp',
  ping: 'iputils-ping',
  pgrep: 'procps',
  unshare: 'util-linux',
  setpriv: 'util-linux',
  ncat: 'ncat',
  conntrack: 'conntrack',
  'iptables-restore': 'iptables',
  age: 'age',
  zstd: 'zstd',
  tar: 'tar',
  curl: 'curl',
  git: 'git',
  openssl: 'openssl',
  python3: 'python3',
  'swift-proxy-server': 'swift-proxy',
  'swift-account-server': 'swift-account',
  'swift-container-server': 'swift-container',
  'swift-object-server': 'swift-object',
};

const FOLDERS = [...(process.env.PATH ?? '').split(path.delimiter), '/usr/sbin', '/sbin', '/usr/lib/openssh'];

function has(program) {
  return FOLDERS.some((folder) => existsSync(path.join(folder, program)));
}

export const isLinuxRoot = process.platform === 'linux' && process.getuid?.() === 0;

/** Ends the process with one sentence. */
export function fail(sentence) {
  console.error(sentence);
  process.exit(1);
}

export function checkNode() {
  const [major = 0, minor = 0] = process.versions.node.split('.').map(Number);
  if (major < 20 || (major === 20 && minor < 19)) {
    fail(
      `Tuckpoint needs Node.js 20.19 or newer; this is ${process.versions.node}. Install a newer one and try again.`,
    );
  }
}

/** Installs the packages named in package-lock.json when they are missing or older than it. */
export function installPackages() {
  const lock = path.join(root, 'package-lock.json');
  const installed = path.join(root, 'node_modules', '.package-lock.json');
  if (existsSync(installed) && statSync(installed).mtimeMs >= statSync(lock).mtimeMs) return;
  console.log('Installing the packages named in package-lock.json (npm ci) …');
  const done = spawnSync('npm', ['ci'], { cwd: root, stdio: 'inherit', shell: process.platform === 'win32' });
  if (done.status !== 0)
    fail('The packages could not be installed: npm ci failed. Check the network and try again.');
}

/** Installs missing programs with the system's package manager; returns those that are still missing. */
export function installPrograms() {
  const missing = () => Object.keys(PROGRAMS).filter((program) => !has(program));
  if (missing().length === 0 || !isLinuxRoot || !has('apt-get')) return missing();
  const packages = [...new Set(missing().map((program) => PROGRAMS[program]))];
  console.log(`Installing the programs the lab needs: ${packages.join(', ')} …`);
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
  spawnSync('apt-get', ['update', '-q'], { stdio: 'ignore', env });
  const done = spawnSync('apt-get', ['install', '-y', '-q', '--no-install-recommends', ...packages], {
    stdio: ['ignore', 'ignore', 'inherit'],
    env,
  });
  if (done.status !== 0) console.error('apt-get could not install all of them.');
  return missing();
}
