import { TuckpointError } from '#core/errors';

/**
 * A release name taken apart: the numbers before the first suffix, and the suffix.
 * Numbers are kept as decimal text without leading zeros, so that no length overflows.
 */
export interface Version {
  readonly text: string;
  readonly numbers: readonly string[];
  /** Suffix parts, digits and letters apart, lower case; empty when there is none. */
  readonly suffix: readonly string[];
}

const SHAPE = /^v?(\d+(?:\.\d+)*)(?:[-._~ +]?([A-Za-z0-9][A-Za-z0-9.\-_~+ ()]*))?$/;
/** Suffixes that come before the release they are named after. Common practice, no source. */
const BEFORE = ['dev', 'snapshot', 'alpha', 'beta', 'pre', 'preview', 'rc'];

/**
 * Reads a dotted release with an optional suffix: `4.2.0`, `v4.2`, `4.2.0-rc1`, `4.2.0 build 1187`, `4.2.0p3`.
 * @throws TuckpointError `release/version` when the text does not begin with a number.
 */
export function parseVersion(text: string): Version {
  const match = SHAPE.exec(text.trim());
  if (match === null) {
    throw new TuckpointError('release/version', `"${text}" is no release this can be put in order by.`, {
      advice: 'Write it as numbers with dots and, if needed, a suffix, such as 4.2.0-rc1.',
    });
  }
  const numbers = match[1]!.split('.').map(plainNumber);
  const suffix = (match[2] ?? '').toLowerCase().match(/\d+|[a-z]+/g) ?? [];
  return { text, numbers, suffix: suffix.map((part) => (/^\d/.test(part) ? plainNumber(part) : part)) };
}

/**
 * The natural order of two releases: below 0 when `a` is older, 0 when they are the same, above 0 when it is newer.
 *
 * Numbers compare as numbers from the left, missing ones count as 0 (`4.2` is `4.2.0`, and 4.10 follows 4.9). Then a
 * suffix that marks work before the release (dev, alpha, beta, pre, rc) comes before the bare release, as in Semantic
 * Versioning 2.0.0 item 11; any other suffix (a build, a patch letter) comes after it, unlike there. Common practice,
 * no source: a lone letter (4.2.0a) is a patch, not an alpha.
 * @throws TuckpointError `release/version` for a text that does not begin with a number.
 */
export function compareVersions(a: string, b: string): number {
  const left = parseVersion(a);
  const right = parseVersion(b);
  const length = Math.max(left.numbers.length, right.numbers.length);
  for (let i = 0; i < length; i++) {
    const order = compareNumbers(left.numbers[i] ?? '0', right.numbers[i] ?? '0');
    if (order !== 0) return order;
  }
  return compareSuffixes(left.suffix, right.suffix);
}

/** Do both names mean the same release? Names that cannot be put in order are the same only when spelt alike. */
export function sameRelease(a: string, b: string): boolean {
  if (a === b) return true;
  return isVersion(a) && isVersion(b) && compareVersions(a, b) === 0;
}

/** Can this name be put in order? */
export function isVersion(text: string): boolean {
  return SHAPE.test(text.trim());
}

function compareSuffixes(a: readonly string[], b: readonly string[]): number {
  const byRank = rankOf(a) - rankOf(b);
  if (byRank !== 0) return byRank;
  for (let i = 0; i < Math.max(a.length, b.length); i++) {
    const x = a[i];
    const y = b[i];
    if (x === undefined || y === undefined) return x === undefined ? -1 : 1;
    const order = compareParts(x, y);
    if (order !== 0) return order;
  }
  return 0;
}

/** -1: before the release, 0: the release itself, 1: after it. */
function rankOf(suffix: readonly string[]): number {
  if (suffix.length === 0) return 0;
  return BEFORE.includes(suffix[0]!) ? -1 : 1;
}

function compareParts(a: string, b: string): number {
  const aNumber = /^\d/.test(a);
  const bNumber = /^\d/.test(b);
  if (aNumber && bNumber) return compareNumbers(a, b);
  if (aNumber !== bNumber) return aNumber ? -1 : 1;
  if (BEFORE.includes(a) && BEFORE.includes(b)) return BEFORE.indexOf(a) - BEFORE.indexOf(b);
  return a < b ? -1 : a > b ? 1 : 0;
}

function compareNumbers(a: string, b: string): number {
  if (a.length !== b.length) return a.length - b.length;
  return a < b ? -1 : a > b ? 1 : 0;
}

function plainNumber(digits: string): string {
  return digits.replace(/^0+(?=\d)/, '');
}
