import { describe, expect, it } from 'vitest';
import { configurationChanges } from './index.ts';

const file = (name: string, text: string | Uint8Array) => ({
  name,
  bytes: typeof text === 'string' ? new TextEncoder().encode(text) : text,
});

describe('changes of a configuration', () => {
  it('are what GNU diffutils 3.8 `diff -u` prints', () => {
    const before = [file('rules.nft', 'a\nb\nc\nd\ne\nf\ng\n')];
    const after = [file('rules.nft', 'a\nb\nc\nD\ne\nf\ng\nh')];
    expect(configurationChanges(before, after)).toEqual([
      {
        name: 'rules.nft',
        change: 'changed',
        difference: `--- before/rules.nft
+++ after/rules.nft
@@ -1,7 +1,8 @@
 a
 b
 c
-d
+D
 e
 f
 g
+h
\\ No newline at end of file
`,
      },
    ]);
  });

  it('name each file that was added, removed or changed, and no other', () => {
    const before = [file('b', 'x\n'), file('same', 'x\n'), file('gone', 'x\n')];
    const after = [file('same', 'x\n'), file('b', 'y\n'), file('a', 'x\n')];
    expect(configurationChanges(before, after).map((f) => `${f.name} ${f.change}`)).toEqual([
      'a added',
      'b changed',
      'gone removed',
    ]);
    expect(configurationChanges(before, before)).toEqual([]);
  });

  it('tell line ends and byte order marks apart', () => {
    expect(configurationChanges([file('a', 'x\r\n')], [file('a', 'x\n')])[0]!.difference).toContain(
      '-x\r\n+x\n',
    );
    expect(configurationChanges([file('a', '\ufeffx\n')], [file('a', 'x\n')])[0]!.difference).toContain(
      '-\ufeffx',
    );
  });

  it('hide secrets, and still show that they changed: reports stand on the disk in clear', () => {
    const of = (word: string) => [file('system.conf', `mtu = 1500\ncommunity = ${word}\nkeep-days = 30\n`)];
    const [change] = configurationChanges(of('tide-and-time'), of('ebb-and-flow'));
    expect(change!.difference).toContain('-community = (secret 1)\n+community = (secret 2)\n');
    expect(change!.difference).not.toMatch(/tide|ebb/u);
    expect(change!.difference).toContain(' mtu = 1500');
  });

  it('show no difference of bytes that are no text', () => {
    const bytes = (last: number) => file('seal', Uint8Array.of(0xff, 0xfe, last));
    expect(configurationChanges([bytes(1)], [bytes(2)])).toEqual([
      { name: 'seal', change: 'changed', difference: null },
    ]);
    const nul = configurationChanges([file('a', 'x\0')], [file('a', 'y\0')]);
    expect(nul[0]!.difference).toBeNull();
  });
});
