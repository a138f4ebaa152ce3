// `npm start`: installs what it needs, starts the practice estate and carries out the main job before your eyes.
import { spawnSync } from 'node:child_process';
import os from 'node:os';
import path from 'node:path';
import { checkNode, fail, installPackages, root } from './install.js';

checkNode();
installPackages();
const { build } = await import('./build.js');
console.log('Building the command line …');
await build().catch((error) => fail(`The build failed: ${error.message}`));

const home = process.env.XDG_DATA_HOME || path.join(os.homedir(), '.local', 'share');
const env = {
  ...process.env,
  TUCKPOINT_DATA: process.env.TUCKPOINT_DATA || path.join(home, 'tuckpoint-practice'),
};
console.log(`The practice estate lives in ${env.TUCKPOINT_DATA} (remove the folder to begin anew).`);
const done = spawnSync(
  process.execPath,
  [path.join(root, 'bin', 'tuckpoint.js'), 'practice', ...process.argv.slice(2)],
  {
    cwd: process.cwd(),
    stdio: 'inherit',
    env,
  },
);
process.exit(done.status ?? 1);
