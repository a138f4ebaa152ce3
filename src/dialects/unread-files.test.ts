import { expect, test } from 'vitest';
import { trafficBetween } from './compare-captures.ts';
import { readCapture } from './read-capture.ts';

const RULES = 'table ip t { chain c { type filter hook forward priority 0; policy drop; }; }\n';
const capture = (files: Record<string, string | Uint8Array>) =>
  readCapture(
    Object.entries(files).map(([name, text]) => ({
      name,
      bytes: typeof text === 'string' ? new TextEncoder().encode(text) : text,
    })),
  );

test('a changed file in no known language is named, so that the answer is never plainly equal', () => {
  const answer = trafficBetween(
    capture({ 'gate.nft': RULES, 'ways.conf': 'way a { open; }\nway b { open; }\n' }),
    capture({ 'gate.nft': RULES, 'ways.conf': 'way a { open; }\nway b { shut; }\n' }),
  );
  expect(answer).toMatchObject({
    verdict: 'undecided',
    exact: false,
    unread: [
      { file: 'ways.conf', line: 2, text: 'way b { open; }' },
      { file: 'ways.conf', line: 2, text: 'way b { shut; }' },
    ],
  });
});

test('a file that is no text is named even where it is the same, with the line of the first bad byte', () => {
  const latin = Uint8Array.of(0x61, 0x0a, 0xe9, 0x0a);
  const files = { 'gate.nft': RULES, 'more.nft': latin };
  expect(trafficBetween(capture(files), capture(files))).toMatchObject({
    exact: false,
    unread: [{ file: 'more.nft', line: 2, text: 'the whole file', reason: 'The file is not valid UTF-8' }],
  });
});

test('settings that stayed as they were take nothing away from the answer', () => {
  const files = { 'gate.nft': RULES, 'ways.conf': 'way a { open; }\n' };
  expect(trafficBetween(capture(files), capture(files))).toMatchObject({ verdict: 'equal', exact: true });
});

test('long statements that differ behind what is shown of them are not taken for the same', () => {
  const ruled = (last: string) => ({
    'gate.nft': `table ip t { chain c { type filter hook forward priority 0; frobnicate ${'1 '.repeat(300)}${last}; }; }\n`,
  });
  const answer = (last: string) => trafficBetween(capture(ruled('1')), capture(ruled(last)));
  expect(answer('1')).toMatchObject({ verdict: 'equal', exact: false });
  expect(answer('2')).toMatchObject({ verdict: 'undecided', exact: false });
  expect(answer('2')!.unread[0]!.text).toHaveLength(200);
});

test('a line that differs in a secret alone differs, though the secret is not shown', () => {
  const noted = (word: string) => capture({ 'gate.nft': RULES, 'notes.txt': `community = ${word}\n` });
  const answer = trafficBetween(noted('ebb'), noted('tide'));
  expect(answer).toMatchObject({ verdict: 'undecided', unread: [{ text: 'community = (secret 1)' }] });
});
