import { expect, test } from 'vitest';
import { endsInPattern } from './index.ts';

// Meanings are those of glob(7).
test.each([
  ['etc/network/interfaces.d/quay', 'interfaces.d/*', true],
  ['etc/network/interfaces.d/deep/quay', 'interfaces.d/*', false],
  ['interfaces.d/quay', 'interfaces.d/*', true],
  ['xinterfaces.d/quay', 'interfaces.d/*', false],
  ['a/rules-12.nft', 'rules-??.nft', true],
  ['a/rules-1.nft', 'rules-??.nft', false],
  ['a/b1.nft', 'b[0-9].nft', true],
  ['a/bx.nft', 'b[!0-9].nft', true],
  ['a/b1.nft', 'b[!0-9].nft', false],
  ['a/aXbXc', 'a*b*c', true],
  ['a/aXbXcd', 'a*b*c', false],
  ['a/x+(y).nft', 'x+(y).nft', true],
])('%s ends in %s: %s', (name, pattern, expected) => {
  expect(endsInPattern(name, pattern)).toBe(expected);
});

test('a pattern of nothing but stars is answered at once', () => {
  // A pattern like this, turned into a regular expression, would be tried in more ways than there are seconds.
  expect(endsInPattern(`etc/${'a'.repeat(200)}`, `${'*a'.repeat(100)}*b`)).toBe(false);
  expect(endsInPattern(`etc/${'a'.repeat(200)}b`, `${'*'.repeat(5000)}b`)).toBe(true);
});
