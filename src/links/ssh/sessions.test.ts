import { afterEach, describe, expect, it } from 'vitest';
import { codeOf, type TuckpointError } from '#core/errors';
import { lineShell, type Script, scriptedServer } from '../fixture/index.ts';
import { compilePattern as p, parseHandbook, type ShellSession as ShellBook } from '../handbook/index.ts';
import type { Command } from '../session/index.ts';
import { connectSsh, ExecSession, ShellSession, type SshConnection } from './index.ts';

const command = (text: string, more: Partial<Command> = {}): Command => ({
  text,
  mode: null,
  timeoutSeconds: 5,
  replies: [],
  ...more,
});

const open: (() => void | Promise<void>)[] = [];
afterEach(async () => {
  for (const close of open.splice(0).reverse()) await close();
});

async function connected(script: Script, password?: string): Promise<SshConnection> {
  const server = await scriptedServer(script);
  open.push(() => server.stop());
  const target = { name: 'fw1', address: '127.0.0.1', port: server.port, user: 'u', hostKey: null };
  const connection = await connectSsh(
    target,
    password === undefined ? {} : { password },
    async () => undefined,
    5,
  );
  open.push(() => connection.close());
  return connection;
}

describe('an exec session', () => {
  const session = async (exec: NonNullable<Script['exec']>) =>
    new ExecSession(await connected({ exec }), [p('^error: (?<reason>.+)$')]);

  it('returns bytes as they came, also those that are no text', async () => {
    const bytes = Buffer.from([0x61, 0x0d, 0x0a, 0xff, 0x00, 0x0a]);
    const exec = await session((_, channel) => {
      channel.write(bytes);
      channel.exit(0);
      channel.end();
    });
    expect(Buffer.from((await exec.run(command('show'))).bytes)).toEqual(bytes);
  });

  it('knows a refusal by a pattern, or by a code other than 0 and the last words', async () => {
    const exec = await session((text, channel) => {
      if (text === 'polite') channel.write('error: no space left\n');
      else channel.stderr.write('first\nslot 3 does not exist\n\n');
      channel.exit(text === 'polite' ? 0 : 2);
      channel.end();
    });
    expect((await exec.run(command('polite'))).refusal).toBe('no space left');
    expect((await exec.run(command('boot 3'))).refusal).toBe('slot 3 does not exist');
  });

  it('takes a command that ends without an exit code for done, and one that a signal ended for not done', async () => {
    const exec = await session((text, channel) => {
      channel.write('output\n');
      if (text === 'killed') channel.exit('KILL', false, '');
      channel.end();
    });
    expect(await exec.run(command('tell'))).toMatchObject({ text: 'output\n', refusal: null, closed: false });
    expect((await exec.run(command('killed'))).closed).toBe(true);
  });

  it('answers a question', async () => {
    const exec = await session((_, channel) => {
      channel.write('Go on? ');
      channel.on('data', (answer: Buffer) => {
        channel.write(`got ${answer}`);
        channel.exit(0);
        channel.end();
      });
    });
    const output = await exec.run(
      command('keep', { replies: [{ pattern: p('Go on\\? $'), text: 'yes', secret: false }] }),
    );
    expect(output.text).toBe('Go on? got yes\n');
  });

  it('gives up on a command that does not end, and goes on to serve', async () => {
    const exec = await session((text, channel) => {
      if (text === 'hang') return;
      channel.exit(0);
      channel.end();
    });
    expect(await exec.run(command('hang', { timeoutSeconds: 0.2 })).catch(codeOf)).toBe('links/timeout');
    expect((await exec.run(command('again'))).refusal).toBeNull();
  });

  it('says that the device closed the connection in mid-command', async () => {
    const exec = await session((_, channel, hangUp) => {
      channel.write('half');
      hangUp();
    });
    expect(await exec.run(command('restart'))).toMatchObject({ closed: true, refusal: null });
    expect(exec.open).toBe(false);
    expect(
      (await exec.run(command('more')).catch((error: TuckpointError) => error)) as unknown,
    ).toMatchObject({
      code: 'links/closed',
    });
  });
});

const book = parseHandbook(
  String.raw`handbook: 1
name: shell
models: [Groyne V]
slots: 1
install: { writes: running }
session:
  kind: shell
  prompt: '^fw1 ~ $'
  pager: { pattern: '^\[more.*\]$', answer: ' ' }
  refusals: ['^refused: (?<reason>.+)$']
  modes:
    upkeep:
      enter: enter upkeep
      prompt: '^fw1 ! $'
      leave: leave upkeep
      answers: [{ pattern: 'word: $', secret: upkeep }]
actions:
  identify: { steps: [{ run: i, read: { model: m, serial: s, hostname: h, release: r, boot: b } }] }
  capture: { running: { steps: [{ run: c, save: c }] } }
`,
  'shell.yaml',
).session as ShellBook;

describe('a shell session', () => {
  const WORD = 'low tide 7';
  /** Opens a session with a shell that gives each typed line to `act` and shows the prompt after it. */
  const session = async (
    act: (line: string, say: (text: string) => void, channel: import('ssh2').ServerChannel) => unknown,
    word = WORD,
  ) => {
    let mark = '~';
    let asking = false;
    const connection = await connected({
      shell(channel) {
        const say = (text: string) => void channel.write(text.replaceAll('\n', '\r\n'));
        const prompt = () => void channel.write(`\u001b[1mfw1 ${mark} \u001b[0m`);
        say('Welcome.\nfw1 ~ is how this prompt looks\n');
        prompt();
        lineShell(
          channel,
          (line) => {
            if (asking) {
              asking = false;
              if (line === WORD) mark = '!';
              else say('refused: that is not the word\n');
            } else if (line === 'enter upkeep') {
              asking = true;
              return say('Upkeep word: ');
            } else if (line === 'leave upkeep') mark = '~';
            else if (act(line, say, channel) === 'no prompt') return;
            prompt();
          },
          () => !asking,
        );
      },
    });
    const replies = () => [{ pattern: p('word: $'), text: word, secret: true }];
    return ShellSession.open(connection, book, replies, 5);
  };

  it('takes the echo, the prompt and colours off an output', async () => {
    const shell = await session((_, say) => say('\u001b[32mup\u001b[0m  1\n\n  two\n'));
    expect(await shell.run(command('tell'))).toMatchObject({
      text: 'up  1\n\n  two\n',
      refusal: null,
      closed: false,
    });
    expect((await shell.run(command('tell'))).text).toBe('up  1\n\n  two\n');
  });

  it('does not take a line of output that looks like the prompt for the prompt', async () => {
    const shell = await session((_, say) => say('fw1 ~ \nfw1 ~ x\nlast\n'));
    expect((await shell.run(command('tell'))).text).toBe('fw1 ~ \nfw1 ~ x\nlast\n');
  });

  it('pages through a long output', async () => {
    const shell = await session((_, say, channel) => {
      let page = 0;
      const next = () => {
        page += 1;
        say(`line ${page}a\nline ${page}b\n`);
        if (page < 3) say(`[more: ${page}]`);
        else {
          channel.removeListener('data', turn);
          say('fw1 ~ ');
        }
      };
      const turn = (key: Buffer) => {
        if (key.toString() !== ' ') return;
        channel.write('\r          \r');
        next();
      };
      channel.on('data', turn);
      next();
      return 'no prompt';
    });
    const { text } = await shell.run(command('tell log'));
    expect(text.split('\n').map((line) => line.trim())).toEqual([
      'line 1a',
      'line 1b',
      'line 2a',
      'line 2b',
      'line 3a',
      'line 3b',
      '',
    ]);
  });

  it('enters a mode with a secret, leaves it again, and never shows the secret', async () => {
    const seen: string[] = [];
    const shell = await session((line, say) => {
      seen.push(line);
      say('ok\n');
    });
    expect((await shell.run(command('keep', { mode: 'upkeep' }))).text).toBe('ok\n');
    expect((await shell.run(command('tell'))).text).toBe('ok\n');
    expect(seen).toEqual(['keep', 'tell']);
  });

  it('that is refused a mode says why, without the word', async () => {
    const shell = await session(() => undefined, 'high tide 9');
    const error = (await shell
      .run(command('keep', { mode: 'upkeep' }))
      .catch((e: unknown) => e)) as TuckpointError;
    expect(error.code).toBe('links/auth');
    expect(error.text).toContain('that is not the word');
    expect(error.text).not.toContain('high tide');
  });

  it('answers a confirmation once, and knows a refusal', async () => {
    const typed: string[] = [];
    const shell = await session((line, say) => {
      typed.push(line);
      if (line === 'keep') {
        say('This overwrites slot 2. Go on? (yes/no) ');
        return 'no prompt';
      }
      say('refused: slot 2 is locked\n');
    });
    const replies = [{ pattern: p('Go on\\? \\(yes/no\\) $'), text: 'yes', secret: false }];
    expect(await shell.run(command('keep', { replies }))).toMatchObject({ refusal: 'slot 2 is locked' });
    expect(typed).toEqual(['keep', 'yes']);
  });

  it('gives up on a prompt that does not come, and is then no longer open', async () => {
    const shell = await session(() => 'no prompt');
    expect(await shell.run(command('hang', { timeoutSeconds: 0.2 })).catch(codeOf)).toBe('links/timeout');
    expect(shell.open).toBe(false);
  });

  it('says that the device closed the terminal', async () => {
    const shell = await session((_, say, channel) => {
      say('going down\n');
      channel.end();
      return 'no prompt';
    });
    expect(await shell.run(command('restart'))).toMatchObject({ text: 'going down\n', closed: true });
  });

  it('that never shows its first prompt is a timeout', async () => {
    const connection = await connected({ shell: (channel) => void channel.write('login banner\r\n') });
    expect(await ShellSession.open(connection, book, () => [], 0.2).catch(codeOf)).toBe('links/timeout');
  });
});

describe('a password', () => {
  it('lets in, and a wrong one is refused without being shown', async () => {
    const script: Script = { accepts: (password) => password === 'low tide 7' };
    await connected(script, 'low tide 7');
    const error = (await connected(script, 'high tide 9').catch((e: unknown) => e)) as TuckpointError;
    expect(error.code).toBe('links/auth');
    expect(error.text).not.toContain('high tide');
  });
});
