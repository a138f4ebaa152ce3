import type { Listener } from '#runs';
import type { Output } from './output.ts';

/**
 * Live progress of a run: a line per step for a person; with --json, a JSON line per event on standard error. `device`
 * stands before each line where several runs are told of at once.
 */
export function progressTeller(output: Output, device?: string): Listener {
  const out = device === undefined ? output : named(output, device);
  if (out.json) return (event) => process.stderr.write(`${JSON.stringify(event)}\n`);
  return (event) => {
    switch (event.kind) {
      case 'begun':
        out.line(`${event.resumed ? 'Resuming' : 'Run'} ${event.run}: ${event.procedure} ${event.device}`);
        break;
      case 'step':
        if (event.state === 'started') out.progress(`   … ${event.title}`);
        if (event.state === 'done') out.line(`  ok ${event.title} (${event.seconds?.toFixed(1)} s)`);
        if (event.state === 'already') out.line(`  ok ${event.title}: is so already`);
        if (event.state === 'failed') out.line(`  !! ${event.title}: ${event.note}`);
        break;
      case 'progress':
        out.progress(
          `   … ${Math.floor((event.done / Math.max(1, event.total)) * 100)} % of ${event.total} bytes`,
        );
        break;
      case 'decided':
        // What did not come to a good end goes where errors go: the one sentence on standard error.
        if (event.decision === 'not done' || event.decision === 'stopped')
          out.warn(`${sentence(event.decision)}: ${event.reason}`);
        else out.line(`Decision: ${event.decision}. ${event.reason}`);
        break;
    }
  };
}

function sentence(decision: 'not done' | 'stopped'): string {
  return decision === 'not done' ? 'Not done' : 'Stopped, and a person must decide';
}

function named(out: Output, device: string): Output {
  return { ...out, line: (text) => out.line(`${device}: ${text.trimStart()}`) };
}
