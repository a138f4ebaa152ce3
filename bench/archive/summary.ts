import type { takeIn, takeInAtOnce } from './take-in.ts';
import type { Fresh, restoreAny, verifyAll } from './take-out.ts';

type Answer<F extends (...args: never[]) => unknown> = Awaited<ReturnType<F>>;

/** Sizes in MB are of 10^6 bytes. */
export interface Results {
  readonly machine: {
    readonly processor: string;
    readonly cores: number;
    readonly node: string;
    /** Processes that wanted to run, averaged over a minute (load average): more than the cores means other load. */
    readonly loadBefore: number;
    readonly loadAfter: number;
  };
  readonly date: string;
  readonly size: string;
  readonly history: {
    readonly devices: number;
    readonly days: number;
    readonly captures: number;
    /** Of all captures, and of those that differ from the one before. */
    readonly contentMB: number;
    readonly distinctMB: number;
  };
  readonly sizeMB: { readonly archive: number; readonly git: number; readonly ratio: number };
  readonly takeIn: {
    readonly oneByOne: Answer<typeof takeIn>['oneByOne'];
    readonly atOnce: Answer<typeof takeInAtOnce>;
    /** How many captures of the history were put at the same time. */
    readonly putAtOnce: number;
    readonly allSeconds: number;
    readonly processorSeconds: number;
    readonly packingSeconds: number;
    readonly git: {
      readonly fastImportSeconds: number;
      readonly gcSeconds: number;
      readonly earlier: boolean;
    };
  };
  readonly restore: Answer<typeof restoreAny>;
  readonly verify: Answer<typeof verifyAll>;
  /** A process that opens the archive and restores one capture; the same with an archive that holds next to nothing. */
  readonly freshProcess: { readonly ofThis: Fresh; readonly ofNothing: Fresh };
  readonly peakMB: {
    readonly start: number;
    readonly takeIn: number;
    readonly pack: number;
    readonly restore: number;
    readonly verify: number;
  };
}

type Both = Results['takeIn']['atOnce'];
type Taken = Both['changed'];

function syncsOf({ changed, unchanged }: Both): string[] {
  const both = (of: (one: Taken) => string | number) => `${of(changed)}, ${of(unchanged)}`;
  const percent = (share: number) => `${Math.round(share * 100)} %`;
  const underWay = both(({ syncShare }) => percent(syncShare));
  const half = both(({ halfFromSyncMs }) => halfFromSyncMs);
  const here = both(({ syncMs }) => syncMs);
  return [
    '  processor; syncs',
    `${both(({ processorMs }) => processorMs)} ms; ${both(({ syncs }) => syncs)}`,
    `a sync under way ${underWay} of that time, half of it where one takes ${half} ms (here ${here}); of the disk alone ${both(({ bareSyncShare }) => percent(bareSyncShare))}`,
  ];
}

/** The results as lines to read, each figure beside its peer. */
export function summary(results: Results): string {
  const { machine, history, sizeMB, takeIn, restore, verify, freshProcess, peakMB } = results;
  const { git } = takeIn;
  const put = (name: string, one: Taken) => [
    `taken in, ${name}`,
    `${one.ms} ms`,
    `${one.bareDiskMs} ms: the disk alone, same bytes written and synced (${one.ratio} times, ${one.captures} captures)`,
  ];
  const rows = [
    ['on disk', `${sizeMB.archive} MB`, `${sizeMB.git} MB: git gc --aggressive (${sizeMB.ratio} times)`],
    put('changed', takeIn.oneByOne.changed),
    put('unchanged', takeIn.oneByOne.unchanged),
    syncsOf(takeIn.oneByOne),
    put('changed, at once', takeIn.atOnce.changed),
    put('unchanged, at once', takeIn.atOnce.unchanged),
    syncsOf(takeIn.atOnce),
    [
      'all taken in',
      `${takeIn.allSeconds} s`,
      `${git.fastImportSeconds} s: git fast-import, which does not sync`,
    ],
    ['  of that processor', `${takeIn.processorSeconds} s`, ''],
    [
      'packed',
      `${takeIn.packingSeconds} s`,
      `${git.gcSeconds} s: git gc --aggressive${git.earlier ? ', made earlier' : ''}`,
    ],
    ['restored, median', `${restore.medianMs} ms`, `${restore.gitShow.medianMs} ms: git show`],
    ['restored, worst', `${restore.worstMs} ms`, `${restore.gitShow.worstMs} ms: git show`],
    [
      'verified',
      `${verify.seconds} s`,
      `${verify.age.seconds} s: age -d of the same ${verify.age.containers} containers, which checks no digest`,
    ],
    [
      '  encrypted bytes',
      `${verify.encryptedMBps} MB/s`,
      `${verify.age.encryptedMBps} MB/s: age -d, a call for each; ${verify.age.largeFileMBps} MB/s on one large file`,
    ],
    [
      '  configurations',
      `${verify.configurationsMBps} MB/s`,
      `${verify.configurationsMBperProcessorSecond} MB per second of the processor; age -d on one large file: ${verify.age.largeFileMBperProcessorSecond} MB`,
    ],
    [
      'a fresh process opens',
      `${freshProcess.ofThis.openMs} ms, ${freshProcess.ofThis.peakMB} MB`,
      `${freshProcess.ofNothing.openMs} ms, ${freshProcess.ofNothing.peakMB} MB: an archive of one capture`,
    ],
    [
      'memory at most',
      `${peakMB.takeIn} MB taking in, ${peakMB.pack} MB packing`,
      `${peakMB.restore} MB restoring, ${peakMB.verify} MB verifying, ${peakMB.start} MB at the start`,
    ],
  ];
  const width = [0, 1].map((column) => Math.max(...rows.map((row) => row[column]!.length)));
  return [
    `${history.devices} devices x ${history.days} days: ${history.captures} captures, ${history.contentMB} MB, of which ${history.distinctMB} MB differ from the day before.`,
    `${machine.cores} x ${machine.processor}, node ${machine.node}; load ${machine.loadBefore} before, ${machine.loadAfter} after.`,
    '',
    ...rows.map((row) => `${row[0]!.padEnd(width[0]!)}  ${row[1]!.padEnd(width[1]!)}  ${row[2]}`.trimEnd()),
    '',
  ].join('\n');
}
