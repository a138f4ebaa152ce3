#!/usr/bin/env node
// Starts the built command line. In a checkout it builds first when a source file is newer than the build.
import { existsSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

const root = path.dirname(path.dirname(fileURLToPath(import.meta.url)));
if (existsSync(path.join(root, 'src'))) {
  const { buildIfStale } = await import(pathToFileURL(path.join(root, 'scripts', 'build.js')).href);
  await buildIfStale();
}
await import(pathToFileURL(path.join(root, 'dist', 'tuckpoint.js')).href);
