import { compareReadings, type Reading } from '#core/reading';
import type { SlotState } from '#core/slots';
import { configurationChanges } from './changes.ts';
import type { RunReport } from './run-report.ts';

const encode = (text: string) => new TextEncoder().encode(text);

function reading(change: Partial<Reading>): Reading {
  const port = {
    admin: 'up',
    oper: 'up',
    counterBits: 64,
    inOctets: 81_000_000n,
    outOctets: 64_000_000n,
    inPackets: 90_000n,
    outPackets: 80_000n,
    inErrors: 0n,
    outErrors: 0n,
    inDiscards: 3n,
    outDiscards: 0n,
  } as const;
  return {
    at: '2026-03-01T02:00:11Z',
    boot: 'b-41',
    uptimeSeconds: 3_542_400,
    interfaces: ['outside', 'inside', 'dmz'].map((name) => ({ name, ...port })),
    memory: { totalBytes: 2 ** 31, freeBytes: 1_300_000_000 },
    processorPercent: 9,
    loss: [
      { target: '192.0.2.1', sent: 200, lost: 0 },
      { target: '10.20.0.10', sent: 200, lost: 1 },
    ],
    alarms: ['Clock not synchronised'],
    fields: { sessions: 1204, 'licence state': 'valid' },
    notRead: [{ what: 'power supplies', why: 'The handbook has no command for them.' }],
    ...change,
  };
}

function slots(running: [string, string, boolean], spare: [string, string, boolean], runs = 0): SlotState {
  const content = (id: string, [release, configuration, bootedWell]: [string, string, boolean]) => ({
    id,
    release,
    configuration,
    bootedWell,
  });
  return { slots: [content('1', running), content('2', spare)], running: runs, next: runs };
}

const C1 = '9f2c61aa03de4f7b9f2c61aa03de4f7b9f2c61aa03de4f7b9f2c61aa03de4f7b';
const C2 = '1b77de90cc21aa001b77de90cc21aa001b77de90cc21aa001b77de90cc21aa00';

const rules = (policy: string, extra = '') => `# Gull Quay, outside
table inet filter {
  set harbour_hosts {
    type ipv4_addr
    elements = { 10.20.0.10, 10.20.0.11, 10.20.0.12 }
  }
  chain forward {
    type filter hook forward priority filter; policy ${policy};
    ct state established,related accept
    iifname "inside" oifname "outside" accept
${extra}    iifname "outside" ip daddr @harbour_hosts tcp dport { 22, 443 } accept
  }
}
`;

/** A report of an update that was taken back: interface down, loss, rewritten rules. */
export function takenBackReport(change: Partial<RunReport> = {}): RunReport {
  const before = reading({});
  const bad = reading({
    at: '2026-03-01T02:06:40Z',
    boot: 'b-42',
    uptimeSeconds: 41,
    interfaces: before.interfaces.map((port) => (port.name === 'dmz' ? { ...port, oper: 'down' } : port)),
    loss: [
      { target: '192.0.2.1', sent: 200, lost: 23 },
      { target: '10.20.0.10', sent: 200, lost: 0 },
    ],
    fields: { sessions: 12, 'licence state': 'valid' },
    alarms: ['Clock not synchronised', 'Link lost on dmz'],
  });
  const back = reading({ at: '2026-03-01T02:09:02Z', boot: 'b-43', uptimeSeconds: 38 });
  const old: [string, string, boolean] = ['4.1.0', C1, true];
  const time = (clock: string) => `2026-03-01T${clock}Z`;
  return {
    run: '01JNA2M5T0K8Q3V7',
    device: { name: 'gull-quay-fw1', model: 'Groyne 40', serial: 'G40-00177' },
    procedure: { name: 'update', title: 'update gull-quay-fw1 to 4.2.0' },
    startedAt: time('02:00:04'),
    endedAt: time('02:09:05.412'),
    decision: 'went back',
    reason:
      'After the update the interface dmz is down and 23 of 200 probes towards 192.0.2.1 are lost, where none were before. The device runs 4.1.0 with its configuration again and is as well as before.',
    steps: [
      {
        title: 'check that the release fits the device',
        startedAt: time('02:00:04'),
        seconds: 0.04,
        outcome: 'done',
        note: null,
      },
      {
        title: 'capture the configuration and verify it',
        startedAt: time('02:00:05'),
        seconds: 5.2,
        outcome: 'done',
        note: null,
      },
      { title: 'take a reading', startedAt: time('02:00:11'), seconds: 21.7, outcome: 'done', note: null },
      {
        title: 'copy the running slot to the spare',
        startedAt: time('02:00:33'),
        seconds: 12,
        outcome: 'found done',
        note: 'The spare held the same pair already; it was not copied again.',
      },
      {
        title: 'transfer groyne40-4.2.0.img and check its digest',
        startedAt: time('02:00:45'),
        seconds: 187,
        outcome: 'done',
        note: null,
      },
      { title: 'install 4.2.0', startedAt: time('02:03:52'), seconds: 94, outcome: 'done', note: null },
      { title: 'restart and wait', startedAt: time('02:05:26'), seconds: 52, outcome: 'done', note: null },
      {
        title: 'take a reading again',
        startedAt: time('02:06:40'),
        seconds: 21.9,
        outcome: 'done',
        note: null,
      },
      {
        title: 'compare state, configuration and traffic',
        startedAt: time('02:07:02'),
        seconds: 0.6,
        outcome: 'done',
        note: null,
      },
      {
        title: 'boot the spare slot',
        startedAt: time('02:07:03'),
        seconds: 119,
        outcome: 'done',
        note: null,
      },
      { title: 'keep the update', startedAt: null, seconds: null, outcome: 'not reached', note: null },
    ],
    slots: {
      before: slots(old, ['4.0.3', C2, true]),
      predicted: slots(['4.2.0', C1, true], old),
      after: slots(['4.2.0', C2, false], old, 1),
    },
    configuration: [
      {
        title: 'Changed by the update',
        files: configurationChanges(
          [
            { name: 'rules/gull-quay.nft', bytes: encode(rules('drop')) },
            { name: 'interfaces.conf', bytes: encode('dmz 198.51.100.1/24\n') },
            { name: 'seal.bin', bytes: Uint8Array.of(0, 1, 2) },
          ],
          [
            { name: 'rules/gull-quay.nft', bytes: encode(rules('accept', '    iifname "dmz" accept\n')) },
            { name: 'interfaces.conf', bytes: encode('dmz 198.51.100.1/24\n') },
            { name: 'seal.bin', bytes: Uint8Array.of(0, 1, 3) },
            { name: 'migrated.note', bytes: encode('written by 4.2.0\n') },
          ],
        ),
      },
      { title: 'After going back', files: [] },
    ],
    readings: [
      {
        title: 'After the update',
        beforeAt: before.at,
        afterAt: bad.at,
        comparison: compareReadings(before, bad),
      },
      {
        title: 'After going back',
        beforeAt: before.at,
        afterAt: back.at,
        comparison: compareReadings(before, back),
      },
    ],
    traffic: {
      sentence: 'Two sets of packets changed their verdict with the configuration that the update wrote.',
      rows: [
        'From dmz to anywhere, any protocol: dropped by the policy of chain forward before, accepted by rule 3 now.',
        'From outside to inside, all but tcp 22 and 443 to harbour_hosts: dropped before, accepted by the policy now.',
      ],
    },
    notChecked: [
      'Power supplies: the handbook has no command for them.',
      'The configuration in slot 2 before the run: this device shows no digest of its spare.',
    ],
    next: [
      'Do not install 4.2.0 on another Groyne 40 before you know why dmz stayed down.',
      'Hand the case file to support: it holds the release, the configuration and both readings.',
      'Slot 1 still holds 4.2.0, which did not boot well: keep a copy of the running slot there when you no longer need it.',
    ],
    ...change,
  };
}

/** A report of a good update. */
export function keptReport(): RunReport {
  const bad = takenBackReport();
  const before = reading({});
  const after = reading({
    at: '2026-03-01T02:06:40Z',
    boot: 'b-42',
    uptimeSeconds: 41,
    processorPercent: 12,
  });
  const end = slots(['4.2.0', C1, true], ['4.1.0', C1, true]);
  return {
    ...bad,
    decision: 'kept',
    reason: 'The device runs 4.2.0 and is as well as before; the configuration is unchanged.',
    steps: bad.steps.map((step) =>
      step.title === 'boot the spare slot'
        ? { ...step, outcome: 'left out', startedAt: null, seconds: null }
        : step,
    ),
    slots: { before: bad.slots.before, predicted: end, after: end },
    configuration: [{ title: 'Changed by the update', files: [] }],
    readings: [
      {
        title: 'After the update',
        beforeAt: before.at,
        afterAt: after.at,
        comparison: compareReadings(before, after),
      },
    ],
    traffic: null,
    next: ['Nothing. Slot 2 holds 4.1.0 with the configuration of before the update.'],
  };
}
