// Bundles src/main into dist/ with esbuild (packages stay outside, heavy modules split off and load lazily).
import {
  chmodSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const root = path.dirname(path.dirname(fileURLToPath(import.meta.url)));
const dist = path.join(root, 'dist');
const stamp = path.join(dist, '.built');

/** Newest change (milliseconds since the epoch) of any source file the build reads. */
function newestSource(folder) {
  let newest = 0;
  for (const entry of readdirSync(folder, { withFileTypes: true })) {
    const at = path.join(folder, entry.name);
    if (entry.isDirectory()) newest = Math.max(newest, newestSource(at));
    else if (entry.name.endsWith('.ts') && !entry.name.endsWith('.test.ts'))
      newest = Math.max(newest, statSync(at).mtimeMs);
  }
  return newest;
}

export async function build() {
  const { build: bundle } = await import('esbuild');
  const fresh = mkdtempSync(path.join(root, '.dist-'));
  chmodSync(fresh, 0o755); // whoever may read the checkout may run the command
  await bundle({
    entryPoints: { tuckpoint: path.join(root, 'src/main/tuckpoint.ts') },
    outdir: fresh,
    bundle: true,
    splitting: true,
    format: 'esm',
    platform: 'node',
    target: 'node20',
    packages: 'external',
    sourcemap: true,
    chunkNames: 'chunks/[name]-[hash]',
    logLevel: 'warning',
    absWorkingDir: root,
  });
  writeFileSync(path.join(fresh, '.built'), '');
  // Two processes may build at once: each makes its own folder, and the last rename wins whole.
  const old = `${fresh}-old`;
  try {
    if (existsSync(dist)) renameSync(dist, old);
    renameSync(fresh, dist);
  } catch {
    rmSync(fresh, { recursive: true, force: true });
  }
  rmSync(old, { recursive: true, force: true });
}

export async function buildIfStale() {
  if (existsSync(stamp) && statSync(stamp).mtimeMs >= newestSource(path.join(root, 'src'))) return;
  await build();
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await build();
