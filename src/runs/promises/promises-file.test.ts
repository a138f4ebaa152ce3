import { expect, test } from 'vitest';
import { parseAddresses } from '#core/address';
import { checkPromises } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { readPromises } from './promises-file.ts';

const file = `
promises:
  - says: The ticket office reaches the booking server
    must: pass
    from: 10.4.20.0/24
    to: [10.15.71.20, 10.15.71.21]
    protocol: tcp
    port: [443, 8000-8003]
  - says: Crew wifi never reaches harbour control
    must: not pass
    from: 10.4.60.0/24
    to: 10.4.30.0/24
    state: any
  - says: The gateway answers pings
    must: pass
    path: to
    icmp: echo-request
`;

test('promises are read as flows; ICMP becomes one for each IP version', () => {
  const promises = readPromises(file, 'promises.yaml');
  expect(promises.map((p) => [p.words.slice(0, 9), p.families])).toEqual([
    ['The ticke', [4]],
    ['Crew wifi', [4]],
    ['The gatew', [4]],
    ['The gatew', [6]],
  ]);
  expect(promises[0]?.flow).toMatchObject({
    source: parseAddresses('10.4.20.0/24'),
    destinationPort: [443, 443, 8000, 8003],
    states: ['new'],
  });
  expect(promises[1]?.flow.states).toBeUndefined();
  // Types and numbers of echo request: RFC 792 and RFC 4443.
  expect(promises[2]?.flow.icmp).toEqual([8 * 256, 8 * 256 + 255]);
  expect(promises[3]?.flow.icmp).toEqual([128 * 256, 128 * 256 + 255]);
});

test('a policy keeps or breaks them, and the deciding rule is named', () => {
  const text = `table inet filter {
  chain forward { type filter hook forward priority 0; policy drop;
    ct state established,related accept
    ip saddr 10.4.20.0/24 tcp dport { 443, 8000-8002 } accept
  }
}
`;
  const policy = nftables.policy(nftables.read([{ name: 'policy.nft', text }]));
  const [tickets, crew] = checkPromises(policy!, readPromises(file, 'promises.yaml'));
  expect(tickets?.answer).toBe('broken');
  expect(tickets?.rows[0]?.ruleBefore?.origin).toMatchObject({ file: 'policy.nft', line: 2 });
  expect(tickets?.rows[0]?.destinationPorts).toEqual([8003, 8003]);
  // "any" state includes answers of connections, which the second rule lets pass.
  expect(crew?.answer).toBe('broken');
});

test.each([
  ['from: 10.4.20.0/33', 5, 'from', 'no address'],
  ['port: 70000', 5, 'port', 'no port'],
  ['icmp: shout', 5, 'icmp', 'no ICMP type'],
  ['protocol: tpc', 5, 'protocol', 'no protocol'],
  ['colour: red', 5, undefined, 'colour'],
])('%s is refused with its line', (line, number, field, words) => {
  const text = `promises:\n  - says: a\n    must: pass\n    path: through\n    ${line}\n`;
  expect(() => readPromises(text, 'promises.yaml')).toThrow(
    expect.objectContaining({
      code: 'traffic/promises',
      message: expect.stringContaining(words) as string,
      place: expect.objectContaining({
        file: 'promises.yaml',
        line: number,
        ...(field === undefined ? {} : { field: `promises[0].${field}` }),
      }) as unknown,
    }) as Error,
  );
});
