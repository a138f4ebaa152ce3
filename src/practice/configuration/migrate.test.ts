import { describe, expect, it } from 'vitest';
import { estate } from '../estate/estate.ts';
import { acceptConfiguration } from './accept.ts';
import { configurationOf } from './files.ts';
import { migrate } from './migrate.ts';

/** Lines of a file that are in one configuration and not in the other. */
const changed = (
  name: string,
  before: ReadonlyMap<string, Uint8Array>,
  after: ReadonlyMap<string, Uint8Array>,
) => {
  const lines = (files: ReadonlyMap<string, Uint8Array>) =>
    Buffer.from(files.get(name)!).toString('utf8').split('\n');
  const [a, b] = [lines(before), lines(after)];
  return { gone: a.filter((line) => !b.includes(line)), come: b.filter((line) => !a.includes(line)) };
};

describe.each(estate.devices)('the first boot of a new release on $name', (device) => {
  const before = configurationOf(device, '1.0.0', 'newer');

  it('notes the release and touches nothing else', () => {
    const after = migrate(before, '2.0.0', false);
    expect(changed('policy.nft', before, after)).toEqual({
      gone: ['# Written by release 1.0.0.'],
      come: ['# Written by release 2.0.0.'],
    });
    expect([after.get('system.conf'), after.get('notice.txt')]).toEqual([
      before.get('system.conf'),
      before.get('notice.txt'),
    ]);
  });

  it('widens one rule when it is faulty', () => {
    const after = migrate(before, '2.0.0', true);
    const { gone, come } = changed('policy.nft', before, after);
    // The head line, and the rule.
    expect([gone.length, come.length]).toEqual([2, 2]);
    expect(gone[1]).toMatch(/ip saddr @\w+ .*accept/);
    expect(come[1]).not.toContain('ip saddr');
    expect(() => acceptConfiguration(after)).not.toThrow();
  });
});

describe('a device that is given a configuration', () => {
  const sound = configurationOf(estate.devices[0]!, '1.0.0', 'newer');
  const spoilt = (name: string, by: (text: string) => string) =>
    new Map([...sound, [name, Buffer.from(by(Buffer.from(sound.get(name)!).toString('utf8')))]]);

  it('takes its own', () => {
    expect(() => acceptConfiguration(sound)).not.toThrow();
  });

  it('refuses one without a policy', () => {
    expect(() => acceptConfiguration(new Map([['system.conf', Buffer.from('')]]))).toThrow(
      'lacks policy.nft',
    );
  });

  it.each([
    ['policy.nft', (text: string) => text.replace(/\}\n(?=[^}]*$)/, '\n'), /policy\.nft line \d+: a brace/],
    ['policy.nft', (text: string) => `${text}}\n`, /policy\.nft line \d+: a brace closes nothing/],
    [
      'policy.nft',
      (text: string) => text.replace('comment "answers"', 'comment "answers'),
      /a quote is not closed/,
    ],
    ['system.conf', (text: string) => `${text}what is this\n`, /system\.conf line \d+: neither/],
  ])('refuses a spoilt %s and says where', (name, by, says) => {
    expect(() => acceptConfiguration(spoilt(name, by))).toThrow(says);
  });
});
