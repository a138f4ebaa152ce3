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
