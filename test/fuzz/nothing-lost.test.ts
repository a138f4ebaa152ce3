import { expect, test } from 'vitest';
import { compareConfigurations } from '#core/config';
import { TuckpointError } from '#core/errors';
import { dialectNamed } from '#dialects';
import { dialectFromMapping } from '#dialects/mapping';
import { denyTcp, onePort } from '../../src/dialects/ietf/rfc8519.reference.ts';
import { LISTING } from '../../src/dialects/nftables/listing.reference.ts';
import { IFUPDOWN, IPTABLES, MAPPED, MAPPING, NETWORKD, TREE } from './corpus.ts';

/**
 * Each word of a sound text is changed, one at a time: the reader must refuse the text, or the comparison must see it.
 * `silent` says what is no configuration, or is the same in other words; the word stands between « and ».
 */
const silent: Readonly<Record<string, readonly RegExp[]>> = {
  nftables: [
    /(packets|bytes) «\d+»/,
    /expires «\w+»/,
    // Elements of a set that times out come and go.
    /10\.0\.0\.1 timeout «30m»/,
    /443 comment "«tls»"/,
    /counter name "«seen»"/,
  ],
  iptables: [
    /^# /,
    /^(:\w+ \S+ )?\[.*«\d+».*\]/,
    // The protocol or the options of the match say it already.
    /-m «\w+» --/,
  ],
  ietf: [/^<\?/, /^<config /, /-ipv4-network>[\d.]*«[\d.]+»\/\d+</],
  ifupdown: [],
  networkd: [/^Destination=«10\.3\.0\.0»\/16/],
  mapping: [/^# /, /is «10\.2\.0\.0»\/16/],
  tree: [/^[#;]/, /# «leg»/, /^<\?/, /^<!--/],
};

const texts: readonly (readonly [dialect: string, file: string, text: string])[] = [
  ['nftables', 'rules.nft', LISTING],
  ...IPTABLES.map((text) => ['iptables', 'rules.v4', text] as const),
  ...[denyTcp, onePort].map((text) => ['ietf', 'acl.xml', text] as const),
  ...IFUPDOWN.map((text) => ['ifupdown', 'interfaces', text] as const),
  ...NETWORKD.map((text) => ['networkd', 'leg.network', text] as const),
  ['mapping', 'gull-quay.conf', MAPPED],
  ...TREE.map((text) => ['tree', 'leg.conf', text] as const),
];

const taught = dialectFromMapping({ name: 'groyne.yaml', text: MAPPING });

test.each(texts)('%s: no word of a text is lost to the comparison (%#)', (name, file, text) => {
  const dialect = name === 'mapping' ? taught : dialectNamed(name)!;
  const read = (changed: string) => dialect.read([{ name: file, text: changed }]);
  const before = read(text);
  const lost: string[] = [];
  for (const { 0: word, index } of text.matchAll(/[\w.]+/g)) {
    const [head, tail] = [text.slice(0, index), text.slice(index + word.length)];
    let same = false;
    try {
      same = compareConfigurations(before, read(head + changed(word) + tail)).equal;
    } catch (error) {
      // Refused: nothing is said to be equal.
      if (!(error instanceof TuckpointError)) throw error;
    }
    const line = `${head.slice(head.lastIndexOf('\n') + 1)}«${word}»${tail.split('\n', 1)[0]}`.trim();
    if (same && !silent[name]!.some((pattern) => pattern.test(line))) lost.push(line);
  }
  expect(lost).toEqual([]);
});

/** Another word of the same kind. */
function changed(word: string): string {
  if (/^\d+$/.test(word)) return String(Number(word) + 1);
  return /^\d+\./.test(word) ? word.replace(/\d$/, (digit) => String((Number(digit) + 1) % 10)) : `${word}x`;
}
