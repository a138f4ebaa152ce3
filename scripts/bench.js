// Runs one measurement: npm run bench -- NAME [--json] [--size smallest]. NAME is a folder of bench/ with a main.ts,
// bundled first so that what is measured is what ships.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const root = path.dirname(path.dirname(fileURLToPath(import.meta.url)));
const bench = path.join(root, 'bench');
const names = readdirSync(bench).filter((name) => existsSync(path.join(bench, name, 'main.ts')));
const name = process.argv[2];

if (name === undefined || !names.includes(name)) {
  console.error(
    `Which measurement? One of: ${names.join(', ')}. For example: npm run bench -- ${names[0]} --size smallest`,
  );
  process.exit(3);
}
const built = path.join(root, 'node_modules', '.cache', 'bench');
mkdirSync(built, { recursive: true });
const outfile = path.join(built, `${name}.mjs`);
await build({
  entryPoints: [path.join(bench, name, 'main.ts')],
  outfile,
  bundle: true,
  platform: 'node',
  format: 'esm',
  target: 'node20',
  packages: 'external',
  sourcemap: 'inline',
  logLevel: 'error',
});
// A process of its own: the memory of the bundler is none of what is measured.
const { status } = spawnSync(process.execPath, [...process.execArgv, outfile, ...process.argv.slice(3)], {
  cwd: root,
  stdio: 'inherit',
});
process.exit(status ?? 1);
