import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe } from 'vitest';
import { type Gateway, type Lab, type LabOptions, startLab, whyNoLab } from '../../lab/index.ts';

const why = whyNoLab();
if (why !== null) process.stderr.write(`The lab's tests are left out. ${why}\n`);

/** What the tests of one `withLab` share. */
export interface Stand {
  readonly lab: Lab;
  /** The first gateway. */
  readonly gateway: Gateway;
}

/** Tests on a lab of their own, in a folder of their own; left out, with the reason, where no lab can run. */
export function withLab(
  title: string,
  options: Omit<LabOptions, 'dir'>,
  tests: (stand: Stand) => void,
): void {
  describe.skipIf(why !== null)(title, () => {
    let lab: Lab | undefined;
    let parent = '';
    beforeAll(async () => {
      parent = mkdtempSync(join(tmpdir(), 'tuckpoint-lab-test-'));
      lab = await startLab({ ...options, dir: join(parent, 'lab') });
    });
    afterAll(async () => {
      await lab?.stop();
      rmSync(parent, { recursive: true, force: true });
    });
    tests({
      get lab() {
        return lab!;
      },
      get gateway() {
        return lab!.gateways[0]!;
      },
    });
  });
}
