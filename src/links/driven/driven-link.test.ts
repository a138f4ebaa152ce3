import { describe, expect, it } from 'vitest';
import type { TuckpointError } from '#core/errors';
import { parseHandbook } from '../handbook/index.ts';
import { handbookText } from '../handbook/sound-handbook.ts';
import type { NamedFile, ReleaseFile } from '../port/index.ts';
import type { Command, Output, Way } from '../session/index.ts';
import { tryHandbook } from '../try-handbook.ts';
import { DrivenLink, type DrivenOptions, type Trace } from './index.ts';

const SECRET = 'low tide 7';
const file: ReleaseFile = {
  path: '/release/4.3.0.img',
  name: 'groyne40-4.3.0.img',
  size: 2000,
  sha256: 'a'.repeat(64),
};
const IDENTITY =
  'model=Groyne 40\nserial=GR40-0001\nhostname=gull-quay-fw1\nrelease=4.2.0\nboot=b1\nuptime=60\n';
const SLOTS = 'slot 1 release=4.2.0 configuration=ab running next\nslot 2 release=4.1.0 configuration=cd\n';

type Answer = Partial<Output> | string;

/** A link whose device answers by a table of commands; it notes what was given and put. */
function link(answers: Record<string, Answer>, options: Partial<DrivenOptions> & { text?: string } = {}) {
  const given: Command[] = [];
  const put: NamedFile[] = [];
  let opened = 0;
  const open = async (): Promise<Way> => {
    opened += 1;
    const session = {
      open: true,
      async run(command: Command): Promise<Output> {
        given.push(command);
        const known: Record<string, Answer> = {
          'slotctl identity': IDENTITY,
          'slotctl list': SLOTS,
          ...answers,
        };
        const answer = known[command.text] ?? '';
        const output: Partial<Output> = typeof answer === 'string' ? { text: answer } : answer;
        if (output.closed === true) session.open = false;
        const text = output.text ?? '';
        return { bytes: new TextEncoder().encode(text), refusal: null, closed: false, ...output, text };
      },
      close: () => undefined,
    };
    const files = {
      sendFile: async (_local: string, remote: string) =>
        void put.push({ name: remote, bytes: new Uint8Array() }),
      sendBytes: async (remote: string, bytes: Uint8Array) => void put.push({ name: remote, bytes }),
      readFolder: async (folder: string) => [{ name: 'base.conf', bytes: new TextEncoder().encode(folder) }],
      makeFolder: async () => undefined,
      emptyFolder: async () => undefined,
    };
    return {
      session,
      sftp: files,
      scp: files,
      offer: (_name, _offered, pull) => pull('http://192.0.2.1/x'),
      close: () => undefined,
    };
  };
  const driven = new DrivenLink({
    name: 'gull-quay-fw1',
    handbook: parseHandbook(options.text ?? handbookText, 'h.yaml'),
    own: { 'inside-host': '10.0.0.9' },
    secrets: { upkeep: SECRET },
    snmp: () => Promise.reject(new Error('no SNMP')),
    now: () => '2026-03-01T08:00:00Z',
    open,
    ...options,
  });
  return { driven, given, put, opened: () => opened };
}

const thrown = (work: Promise<unknown>): Promise<TuckpointError> =>
  work.then(
    () => {
      throw new Error('nothing was thrown');
    },
    (error: TuckpointError) => error,
  );

describe('a device driven by a handbook', () => {
  it('that prints something else is not understood: what was expected and what came is said', async () => {
    const { driven } = link({ 'slotctl identity': 'Last login: today\nmodel=Groyne 40\n' });
    const error = await thrown(driven.identify());
    expect(error.code).toBe('links/unreadable-output');
    expect(error.message).toContain('serial, hostname, release');
    expect(error.text).toContain('Last login: today');
  });

  it('refuses in its own words', async () => {
    const { driven } = link({ 'slotctl keep': { refusal: 'slot 2 is locked' } });
    const error = await thrown(driven.keep());
    expect(error.code).toBe('links/refused');
    expect(error.message).toBe('gull-quay-fw1 refused "slotctl keep": slot 2 is locked.');
  });

  it('that says its disk is full is not merely refusing', async () => {
    const { driven } = link({ 'slotctl keep': { refusal: 'cp: write error: No space left on device' } });
    expect((await thrown(driven.keep())).code).toBe('links/no-space');
  });

  it('fills in the ids of its slots', async () => {
    const { driven, given } = link({});
    const [base] = await driven.capture('spare');
    expect(new TextDecoder().decode(base!.bytes)).toBe('/slots/2/config');
    await driven.boot('spare');
    expect(given.at(-1)!.text).toBe('slotctl boot 2');
  });

  it('may close the connection when it boots, and never otherwise', async () => {
    const closing = { 'slotctl restart': { closed: true }, 'slotctl keep': { closed: true } };
    const { driven, opened } = link(closing);
    await driven.restart();
    expect((await thrown(driven.keep())).code).toBe('links/closed');
    await driven.identify();
    expect(opened()).toBe(3);
  });

  it('gets no file name that its shell could read as something else', async () => {
    const { driven, given } = link({});
    for (const name of ['a; reboot', '$(x)', '-rf', 'a b', "a'b", '../x', 'a\nb']) {
      const error = await thrown(driven.transfer({ ...file, name }));
      expect(error.code).toBe('links/unsafe-name');
    }
    expect(given).toEqual([]);
  });

  it('gets no configuration file outside of its folder', async () => {
    const { driven, put } = link({});
    for (const name of ['../etc/passwd', '/etc/passwd', 'a//b', './a', 'a/..'])
      expect((await thrown(driven.apply([{ name, bytes: new Uint8Array() }]))).code).toBe(
        'links/unsafe-name',
      );
    expect(put).toEqual([]);
    await driven.apply([{ name: 'rules/odd name.conf', bytes: new Uint8Array() }]);
    expect(put.map(({ name }) => name)).toEqual(['/incoming/config/rules/odd name.conf']);
  });

  it('that reports another digest than the file’s got it damaged', async () => {
    const digest = { [`sha256sum /incoming/${file.name}`]: `${'b'.repeat(64)}  /incoming/x\n` };
    const { driven } = link(digest);
    expect((await thrown(driven.transfer(file))).code).toBe('links/digest-mismatch');
    expect(await driven.remoteFile(file)).toBeNull();
  });

  it('that has too little space is sent nothing', async () => {
    const text = handbookText.replace(
      '    by: sftp\n',
      () => "    by: sftp\n    space: { run: df, read: '^(\\d+)$', unit: KiB }\n",
    );
    const { driven, put } = link({ df: '1\n' }, { text });
    const error = await thrown(driven.transfer(file));
    expect(error.code).toBe('links/no-space');
    expect(error.message).toContain('2000 bytes are needed, 1024 are free');
    expect(put).toEqual([]);
  });

  it('cannot do what the handbook does not say', async () => {
    const { driven } = link({}, { text: handbookText.replace(/^ {2}keep: .*$/mu, '') });
    const error = await thrown(driven.keep());
    expect(error.code).toBe('links/not-in-handbook');
    expect(error.message).toContain('"keep"');
  });

  it('names values and secrets that are missing, before anything is given', async () => {
    const text = handbookText.replace(
      '{ run: slotctl keep }',
      "{ run: slotctl keep, answers: [{ pattern: 'word', secret: harbour }] }",
    );
    const { driven, given } = link({}, { text });
    const error = await thrown(driven.keep());
    expect(error.code).toBe('links/missing-secret');
    expect(error.text).toContain('harbour');
    expect(given).toEqual([]);
  });

  it('never has its secrets in an error, even if it prints them itself', async () => {
    const { driven } = link({
      'slotctl identity': `your word is ${SECRET}\n`,
      'slotctl keep': { refusal: `"${SECRET}" is not the word` },
    });
    expect((await thrown(driven.identify())).text).not.toContain(SECRET);
    expect((await thrown(driven.keep())).text).not.toContain(SECRET);
  });

  it('gives a reading with what was not read and why; a ping that fails is still read', async () => {
    const { driven } = link(
      {
        'ping -n -q -c 20 10.0.0.9': {
          text: '20 packets transmitted, 0 received, 100% packet loss\n',
          refusal: 'it ended with code 1',
        },
        'slotctl health': 'nothing of the sort\n',
      },
      { snmp: () => Promise.reject(new Error('The agent does not answer.')) },
    );
    const reading = await driven.reading();
    expect(reading.loss).toEqual([{ target: 'inside-host', sent: 20, lost: 20 }]);
    expect(reading.notRead).toEqual([
      { what: 'SNMP', why: 'The agent does not answer.' },
      { what: 'sessions', why: 'The output of "slotctl health" does not show it.' },
    ]);
    expect(reading).toMatchObject({
      at: '2026-03-01T08:00:00Z',
      boot: 'b1',
      uptimeSeconds: 60,
      memory: null,
    });
  });
});

describe('trying a handbook', () => {
  it('runs reading actions only, shows what matched line by line, and goes on after a failure', async () => {
    const traces: Trace[] = [];
    const { driven, given } = link(
      {
        'slotctl list': 'slot 1 release=4.2.0 configuration=ab running next\n',
        'ip -s addr': `inet 10.0.0.1 ${SECRET}\n`,
      },
      { observer: (trace) => traces.push(trace) },
    );
    const tried = await tryHandbook(driven, traces);
    expect(tried.map(({ action, error }) => [action, error === null])).toEqual([
      ['identify', true],
      ['slots', false],
      ['capture running', true],
      ['capture spare', false],
      ['reading', true],
      ['report', true],
    ]);
    expect(tried[0]!.commands[0]!.matches[1]).toEqual({
      field: 'serial',
      pattern: '^serial=(.+)$',
      line: 2,
      text: 'serial=GR40-0001',
      value: 'GR40-0001',
    });
    expect(tried[1]!.error).toContain('two slots (found 1)');
    const acting = /keep|recover|boot |restart|shutdown|install|load|return|rm /u;
    expect(given.filter(({ text }) => acting.test(text))).toEqual([]);
    expect(JSON.stringify(tried)).not.toContain(SECRET);
  });
});
