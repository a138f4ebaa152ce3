// Looks from outside at a search that may hang: see watchdog.ts.
import { writeSync } from 'node:fs';
import { workerData } from 'node:worker_threads';

const { state, text, seconds } = workerData;
let seen = -1;
setInterval(() => {
  const begun = Atomics.load(state, 0);
  if (begun !== seen) {
    seen = begun;
    return;
  }
  const bytes = Buffer.from(text.slice(0, state[1]));
  writeSync(2, `Text ${begun} takes longer than ${seconds} s: ${JSON.stringify(bytes.toString())}\n`);
  process.kill(process.pid, 'SIGKILL');
}, 1000 * seconds);
