import { compareConfigurations, type Dialect } from '#core/config';
import { TuckpointError } from '#core/errors';
import { type Policy, trafficDifference } from '#core/traffic';
import { dialectNamed } from '#dialects';
import { dialectFromMapping } from '#dialects/mapping';
import { readTree, TREE_FORMATS, walk } from '#dialects/tree';
import type { Random } from '../../bench/traffic/random.ts';
import { IETF, IFUPDOWN, IPTABLES, MAPPED, MAPPING, NETWORKD, NFTABLES, TREE } from './corpus.ts';
import { mutated } from './mutate.ts';

/** One reader under test. `try` says what came of a text, and throws where that is a mistake of the reader. */
export interface Reader {
  readonly name: string;
  readonly corpus: readonly string[];
  try(text: string, random: Random): string;
}

const SMALL = { work: 200_000, nodes: 20_000, rows: 50 };
const NOTHING: Policy = { pipelines: [], unread: [] };

/** Runs what may refuse the text: with one sentence and its place, never in another way. */
function refusable(run: () => string): string {
  try {
    return run();
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    const { code, message, place } = error;
    if (message.includes('\n')) throw new Error('the sentence has several lines', { cause: error });
    if (place?.file === undefined || !((place.line ?? 0) > 0))
      throw new Error('the place is missing', { cause: error });
    return code;
  }
}

function ofDialect(dialect: Dialect, corpus: readonly string[], names: readonly string[]): Reader {
  return {
    name: dialect.name,
    corpus,
    try: (text, random) => refusable(() => readAndAnswer(dialect, text, random.pick(names), random)),
  };
}

function readAndAnswer(dialect: Dialect, text: string, name: string, random: Random): string {
  const file = { name, text };
  dialect.recognises(file);
  const read = dialect.read([file]);
  for (const { place } of [...read.objects, ...read.opaque]) {
    const inside = 0 <= place.start && place.start <= place.end && place.end <= text.length;
    if (!inside || place.line < 1 || place.line > place.endLine)
      throw new Error(`a place outside the file: ${JSON.stringify(place)}`);
  }
  if (dialect.write(read.files, [])[0]?.text !== text) throw new Error('not written back as it was');
  if (!compareConfigurations(read, dialect.read([file])).equal) throw new Error('differs from itself');
  const policy = dialect.policy(read);
  if (policy === null) return 'read';
  // The sweep is the costly part, and is tested elsewhere: now and then is enough.
  if (random.chance(0.05)) {
    if (trafficDifference(policy, dialect.policy(dialect.read([file])) ?? NOTHING, SMALL).verdict !== 'equal')
      throw new Error('treats traffic otherwise than itself');
    trafficDifference(policy, NOTHING, SMALL);
  }
  return policy.unread.length === 0 ? 'read' : 'read in part';
}

const tree: Reader = {
  name: 'tree',
  corpus: TREE,
  try(text, random) {
    const format = random.pick(TREE_FORMATS);
    const outcome = refusable(() => {
      const read = readTree({ name: 'quay.conf', text }, format);
      for (const node of walk(read.root)) {
        let from = node.start;
        for (const child of node.children) {
          if (child.start < from || child.end <= child.start || child.end > node.end)
            throw new Error(`spans that do not nest: ${node.name} and ${child.name}`);
          from = child.end;
        }
      }
      return `read as ${format}`;
    });
    refusable(() => readAndAnswer(dialectNamed('tree'), text, 'quay.conf', random));
    return outcome;
  },
};

/** The mapping file is mutated, and every other time the text that it reads as well. */
const mapping: Reader = {
  name: 'mapping',
  corpus: [MAPPING],
  try(text, random) {
    return refusable(() => {
      const dialect = dialectFromMapping({ name: 'groyne.yaml', text: random.chance(0.5) ? text : MAPPING });
      return readAndAnswer(
        dialect,
        random.chance(0.5) ? mutated(random, [MAPPED]) : MAPPED,
        'gull-quay.conf',
        random,
      );
    });
  },
};

export const READERS: readonly Reader[] = [
  ofDialect(dialectNamed('ietf'), IETF, ['device.data']),
  ofDialect(dialectNamed('ifupdown'), IFUPDOWN, ['etc/network/interfaces']),
  ofDialect(dialectNamed('networkd'), NETWORKD, ['a.network', 'a.netdev', 'a.link', 'a.network.d/b.conf']),
  tree,
  mapping,
  ofDialect(dialectNamed('nftables'), NFTABLES, ['gateway.nft']),
  ofDialect(dialectNamed('iptables'), IPTABLES, ['rules.v4', 'rules.v6']),
];
