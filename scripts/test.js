// `npm test`: installs what is needed and runs every test this system can run; says which part it left out.
import { spawnSync } from 'node:child_process';
import path from 'node:path';
import { checkNode, installPackages, installPrograms, isLinuxRoot, root } from './install.js';

checkNode();
installPackages();
const missing = installPrograms();
const { build } = await import('./build.js');
console.log('Building the command line …');
await build();

const args = process.argv.slice(2);
const lab = isLinuxRoot && missing.length === 0;
const projects = args.includes('--faults') ? ['whole'] : ['unit', 'whole', ...(lab ? ['lab'] : [])];
const rest = args.includes('--faults') ? ['test/faults'] : args;
const vitest = path.join(root, 'node_modules', 'vitest', 'vitest.mjs');
const env = { ...process.env, ...(args.includes('--faults') ? { TUCKPOINT_PRINT_TABLE: '1' } : {}) };
const tests = spawnSync(
  process.execPath,
  [vitest, 'run', ...projects.flatMap((p) => ['--project', p]), ...rest],
  { cwd: root, stdio: 'inherit', env },
);

if (!lab) {
  const why = isLinuxRoot
    ? `these programs are missing: ${missing.join(', ')}`
    : 'it needs Linux and root (network namespaces, a real packet filter, sshd and snmpd)';
  console.log(`\nLeft out: the lab (real gateways in network namespaces), since ${why}.`);
}
process.exit(tests.status ?? 1);
