import { readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { GroupResult } from '#runs';
import { Estate } from './estate.ts';
import { type Answer, dataOf, type RunAnswer } from './workbench.ts';

/**
 * Grafts and restores in a language that a mapping file teaches: the run itself, not only the plan before it, compares
 * objects and traffic and checks promises in that language. The language is invented.
 */
const name = 'gull-quay-fw1';
const MAPPING = `mapping: 1
name: quay-passages
format: braces
recognise: ["passage ", "known "]
words: { any: [anyone], accept: [let], drop: [turn-back] }
addresses:
  - { at: "known {name} is {value}", value: "{value}" }
rules:
  - { at: "passage {name}", source: callers, destination: calls, service: by, action: then }
policy: { paths: [through, to], stateful: true, otherwise: drop }
`;
const PASSAGES = `known crew is 10.2.0.0/16;
known tills is 10.3.0.0/24;
known workbench is 127.0.0.1;

passage "upkeep" { callers workbench; calls anyone; by tcp; then let; }
passage "crew web" { callers crew; calls anyone; by tcp/443; then let; }
passage "the rest" { callers anyone; calls anyone; by tcp; then turn-back; }
`;
const TILLS = 'passage "tills pay" { callers tills; calls anyone; by tcp/8443; then let; }\n';
const PROMISES = `promises:
  - { says: The crew reaches the web, must: pass, from: 10.2.0.0/16, protocol: tcp, port: 443 }
`;

let estate: Estate;
let mapping: string;
beforeAll(async () => {
  estate = await Estate.start([name]);
  mapping = estate.file('passages.yaml', MAPPING);
  holdOnDevice(PASSAGES);
});
afterAll(() => estate.stop());

/** Every slot of the device holds its rules in the taught language only. */
function holdOnDevice(passages: string): void {
  // A practice device asks of this file only that its braces and quotes are closed.
  putOnDevice({ 'policy.nft': passages });
}
/** Files of every slot of the device, as if delivered so. */
function putOnDevice(files: Readonly<Record<string, string>>): void {
  const contents = path.join(estate.folder, 'practice', name, 'contents');
  for (const content of readdirSync(contents))
    for (const [file, text] of Object.entries(files))
      writeFileSync(path.join(contents, content, 'configuration', file), text);
}
const passages = () => {
  const { id } = estate
    .control(name)
    .slots()
    .find((slot) => slot.running)!;
  return Buffer.from(estate.control(name).configuration(id).get('policy.nft')!).toString();
};

const source = () =>
  estate.file('source.conf', PASSAGES.replace('passage "the rest"', `${TILLS}passage "the rest"`));
const words = (...more: string[]) => [
  ...['graft', '--from', source(), '--take', 'rule:"tills pay"', '--onto', name],
  ...['--mapping', mapping, ...more],
];
const first = (answer: Answer) => dataOf<GroupResult>(answer).results[0]!;
/** What the run itself, not its plan, says of traffic. */
const trafficOf = ({ report }: { readonly report: RunAnswer['report'] | null }) =>
  report!.traffic!.rows.join('\n');
const tillsPay = (change: string) =>
  ['through', 'to the device']
    .map((way) => `${change}, ${way}: tcp from tills to any port 8443, new, invalid, untracked`)
    .join('\n');

describe('A graft in a language that a mapping file teaches', () => {
  test('is compared in objects and traffic by the run itself, promises among it; so is its undoing', async () => {
    expect((await estate.run('capture', name)).code).toBe(0);
    const promises = estate.file('promises.yaml', PROMISES);
    const answer = await estate.run(...words('--yes', '--promises', promises));
    const done = first(answer);
    expect(done.decision, done.reason + answer.stderr).toBe('kept');
    expect(passages()).toContain('"tills pay"');
    expect(trafficOf(done)).toBe(tillsPay('drop -> accept'));
    expect(done.report!.readBack!.promises.join(' ')).toMatch(/3 promises checked.*none is broken/u);
    expect(done.report!.notChecked.join(' ')).not.toContain('promises were not checked');

    const undone = first(await estate.run('graft', 'undo', done.run!));
    expect(undone.decision, undone.reason).toBe('kept');
    expect(trafficOf(undone)).toBe(tillsPay('accept -> drop'));
    expect(passages()).toBe(PASSAGES);
  });

  test('is read in it by a run that was killed and resumed, too', async () => {
    const killed = await estate.watch(words('--yes'), (event, child) => {
      if (event.kind === 'step' && event.step === 'capture-after' && event.state === 'acted')
        child.kill('SIGKILL');
    });
    expect(killed.signal, killed.stderr).toBe('SIGKILL');
    const resumed = await estate.ended('resume', /"run":"([^"]+)"/u.exec(killed.stderr)![1]!);
    expect(resumed.decision, resumed.reason).toBe('kept');
    expect(trafficOf(resumed)).toBe(tillsPay('drop -> accept'));
  });

  test('refuses by the run itself a restore that shuts the workbench out, and compares one that does not', async () => {
    const before = dataOf<{ capture: string }[]>(await estate.run('capture', name))[0]!.capture;
    holdOnDevice(PASSAGES.replace(/^passage "upkeep".*\n/mu, ''));
    const shut = dataOf<{ capture: string }[]>(await estate.run('capture', name))[0]!.capture;
    holdOnDevice(PASSAGES);
    const refused = await estate.ended('restore', name, shut, '--mapping', mapping);
    expect(refused.decision).toBe('not done');
    expect(refused.reason).toContain(`The workbench reaches ${name} on port`);
    expect(passages()).toBe(PASSAGES);

    const shown = await estate.say('restore', name, before, '--mapping', mapping, '--dry-run');
    expect(shown.stdout).toMatch(/drop -> accept.* port 8443/u);
    const done = await estate.ended('restore', name, before, '--mapping', mapping);
    expect(done.decision, done.reason).toBe('kept');
    expect(trafficOf(done)).toBe(tillsPay('drop -> accept'));
  });
});

test('A mapping file with a mistake is refused in one sentence, before any device is asked', async () => {
  const bad = estate.file('bad.yaml', MAPPING.replace('destination: calls', 'destinations: calls'));
  const log = estate.control(name).log().length;
  for (const command of [
    ['graft', '--from', source(), '--take', 'all', '--onto', name, '--yes'],
    ['restore', name, dataOf<{ id: string }[]>(await estate.run('history', name))[0]!.id],
    ['slots', name],
  ]) {
    const answer = await estate.say(...command, '--mapping', bad);
    expect(answer.code, answer.stderr).toBe(3);
    expect(answer.stderr.trimEnd().split('\n'), answer.stderr).toHaveLength(1);
    expect(answer.stderr).toContain('bad.yaml:');
  }
  expect(estate.control(name).log()).toHaveLength(log);
});

test('A graft onto a device with packet rules in two languages is not carried out without a word', async () => {
  const nft = (rule: string) =>
    `table inet x {\n\tchain forward {\n\t\ttype filter hook forward priority 0; policy drop;\n${rule}\t}\n}\n`;
  const saved = '*filter\n:FORWARD DROP [0:0]\n-A FORWARD -p tcp -m tcp --dport 443 -j ACCEPT\nCOMMIT\n';
  putOnDevice({ 'policy.nft': nft(''), 'saved.rules': saved });
  expect((await estate.run('capture', name)).code).toBe(0);
  const from = estate.file('time.nft', nft('\t\tudp dport 123 accept comment "time"\n'));
  const time = ['graft', '--from', from, '--take', 'rule:time', '--place', 'first', '--onto', name];
  const refused = await estate.say(...time, '--yes');
  expect(refused.code, refused.stderr).toBe(2);
  expect(refused.stdout).toContain('packet rules in two languages');
  expect(refused.stdout).toContain('--accept-unproved');
  expect(passages()).toBe(nft(''));
  const done = first(await estate.run(...time, '--yes', '--accept-unproved'));
  expect(done.decision, done.reason).toBe('kept');
  expect(passages()).toContain('comment "time"');
});
