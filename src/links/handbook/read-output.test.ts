import { describe, expect, it } from 'vitest';
import { secondsOf } from './duration.ts';
import { matchesGlob } from './glob.ts';
import { nearMiss } from './near-miss.ts';
import { identityFrom, Missing, noSlots, readSlots, slotsFrom, uptimeOf } from './observe.ts';
import { parseHandbook } from './parse.ts';
import { compilePattern } from './pattern.ts';
import { fill, placeholdersOf } from './placeholder.ts';
import { readFields, readRows, splitFiles } from './read-output.ts';
import { handbookText } from './sound-handbook.ts';

const p = compilePattern;

describe('reading the output of a command', () => {
  // Printed by iputils ping 20221126: ping -n -q -c 10 127.0.0.1
  const ping = [
    'PING 127.0.0.1 (127.0.0.1) 56(84) bytes of data.',
    '',
    '--- 127.0.0.1 ping statistics ---',
    '10 packets transmitted, 8 received, 20% packet loss, time 9195ms',
  ].join('\n');

  it('takes the group "value", else the first group, else the whole match', () => {
    const read = readFields(ping, {
      sent: p('(\\d+) packets transmitted'),
      received: p('(\\d+) packets transmitted, (?<value>\\d+) received'),
      whole: p('\\d+% packet loss'),
    });
    expect(read.values).toEqual({ sent: '10', received: '8', whole: '20% packet loss' });
    expect(read.matches.map(({ line }) => line)).toEqual([4, 4, 4]);
  });

  it('matches one line at a time: no pattern reaches over a line end', () => {
    expect(readFields('a\nb\n', { both: p('a\\s+b') }).values).toEqual({});
    expect(readFields('a\r\nb\r\n', { end: p('^b$') }).values).toEqual({ end: 'b' });
  });

  it('says which pattern matched nothing', () => {
    expect(readFields(ping, { lost: p('lost (\\d+)') }).matches).toEqual([
      { field: 'lost', pattern: 'lost (\\d+)', line: null, text: '', value: null },
    ]);
  });

  it('reads a list of records that span lines', () => {
    // Two interfaces as `ip -s link` of iproute2 6.1 prints them.
    const output = [
      '1: lo: <LOOPBACK,UP,LOWER_UP> mtu 65536 qdisc noqueue state UNKNOWN mode DEFAULT group default qlen 1000',
      '    RX:  bytes packets errors dropped  missed   mcast           ',
      '        3870      21      0       0       0       0 ',
      '2: outside: <BROADCAST,MULTICAST> mtu 1500 qdisc noop state DOWN mode DEFAULT group default qlen 1000',
      '    RX:  bytes packets errors dropped  missed   mcast           ',
      '         512       4      1       2       0       0 ',
    ].join('\n');
    const each = p(
      '^\\d+: (?<name>[^:]+):.* state (?<oper>\\S+)[^]*?RX:.*\\n\\s+(?<inOctets>\\d+)\\s+(?<inPackets>\\d+)',
    );
    const { rows, matches } = readRows(output, each, p('^\\d+: '));
    expect(rows.map(({ groups }) => ({ ...groups }))).toEqual([
      { name: 'lo', oper: 'UNKNOWN', inOctets: '3870', inPackets: '21' },
      { name: 'outside', oper: 'DOWN', inOctets: '512', inPackets: '4' },
    ]);
    expect(matches.map(({ line }) => line)).toEqual([1, 4]);
  });

  it('cuts an output into files, and keeps blank and indented lines of them', () => {
    const files = splitFiles(
      'banner\n=== a.conf ===\n  x\n\n=== rules/b.conf ===\ny\n',
      p('^=== (?<name>\\S+) ===$'),
    );
    expect(files).toEqual([
      { name: 'a.conf', text: '  x\n\n' },
      { name: 'rules/b.conf', text: 'y\n' },
    ]);
  });
});

describe('slots', () => {
  const step = parseHandbook(handbookText, 'h.yaml').actions.slots!.steps[0]!;
  const read = (output: string, count: 1 | 2 = 2) => {
    const into = noSlots();
    readSlots(output, step, into);
    return slotsFrom(into, count);
  };

  it('are read with the one that runs and the one that boots next; "-" says nothing', () => {
    expect(
      read('slot 1 release=4.2.0 configuration=ab12 running\nslot 2 release=- configuration=cd34 next\n'),
    ).toEqual({
      slots: [
        { id: '1', release: '4.2.0', configuration: 'ab12' },
        { id: '2', release: null, configuration: 'cd34' },
      ],
      running: '1',
      next: '2',
    });
  });

  it.each([
    ['one slot only', 'slot 1 release=1 configuration=a running next\n'],
    [
      'the same slot twice',
      'slot 1 release=1 configuration=a running next\nslot 1 release=1 configuration=a\n',
    ],
    ['no running slot', 'slot 1 release=1 configuration=a next\nslot 2 release=1 configuration=a\n'],
    ['no next slot', 'slot 1 release=1 configuration=a running\nslot 2 release=1 configuration=a\n'],
    ['nothing', ''],
  ])('of a device of two that shows %s are not understood', (_, output) => {
    expect(read(output)).toBeInstanceOf(Missing);
  });
});

describe('an identity', () => {
  it('needs model, serial, hostname and release, and names what is missing', () => {
    const missing = identityFrom({ model: 'Groyne 40', release: '4.2.0', hostname: '' });
    expect(missing).toEqual(new Missing('serial, hostname'));
  });

  it('reads uptimes in seconds or as a duration, and no other text', () => {
    expect(['3661', '3661.93', '1h 1m 1s', '2d', 'yesterday', ''].map(uptimeOf)).toEqual([
      3661,
      3661,
      3661,
      172_800,
      null,
      null,
    ]);
  });
});

describe('small parts of a handbook', () => {
  it('durations', () => {
    expect(['20s', '1m 30s', '500ms', '2h', '1.5m', '20', 's', '5 parsecs'].map(secondsOf)).toEqual([
      20,
      90,
      0.5,
      7200,
      90,
      null,
      null,
      null,
    ]);
  });

  it('globs stop at "/" unless they are "**"', () => {
    expect(matchesGlob('base.conf', '*.conf')).toBe(true);
    expect(matchesGlob('rules/base.conf', '*.conf')).toBe(false);
    expect(matchesGlob('rules/base.conf', '**/*.conf')).toBe(true);
    expect(matchesGlob('base.conf', '**/*.conf')).toBe(true);
    expect(matchesGlob('baseXconf', 'base.conf')).toBe(false);
  });

  it('placeholders, and braces that are none', () => {
    const text = "awk '{print $1}' {path} {{path}} {own.far-host}";
    expect(placeholdersOf(text)).toEqual(['path', 'own.far-host']);
    expect(fill(text, (name) => name.toUpperCase())).toBe("awk '{print $1}' PATH {path} OWN.FAR-HOST");
  });

  it('near misses are offered, far ones not', () => {
    const known = ['capture', 'transfer', 'install'];
    expect(nearMiss('instal', known)).toBe('install');
    expect(nearMiss('trasnfer', known)).toBe('transfer');
    expect(nearMiss('reboot', known)).toBeUndefined();
  });
});
