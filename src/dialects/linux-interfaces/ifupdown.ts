import {
  type Dialect,
  objectId,
  type Reference,
  type SourceFile,
  type TypedConfiguration,
  type Value,
} from '#core/config';
import { applyEdits, endsInPattern, shorten } from '#dialects/source';
import { withLength } from './addresses.ts';
import { routeOfCommand } from './ip-command.ts';
import { Collection } from './objects.ts';
import { type InterfacesLine, type Stanza, stanzasOf } from './stanzas.ts';

/** Options that run commands (interfaces(5), IFACE OPTIONS). */
const COMMANDS = new Set(['up', 'down', 'pre-up', 'post-up', 'pre-down', 'post-down']);
/** Options that name other interfaces; those with an underscore or hyphen come from other packages. */
const MEMBERS = new Set([
  'bridge_ports',
  'bridge-ports',
  'bond-slaves',
  'bond-master',
  'vlan-raw-device',
  'vlan_raw_device',
]);

/** Debian's /etc/network/interfaces (interfaces(5) of ifupdown). */
export const ifupdown: Dialect = {
  name: 'ifupdown',
  title: 'interfaces files of ifupdown (/etc/network/interfaces)',
  recognises({ name, text }) {
    const head = text.slice(0, 8192);
    if (/^[ \t]*iface[ \t]+\S+[ \t]+inet6?[ \t]+\w+/m.test(head)) return 0.95;
    const told = /^[ \t]*(?:auto|allow-hotplug|source|source-directory)[ \t]+\S/m.test(head);
    return told && /(?:^|\/)(?:interfaces|interfaces\.d\/[\w-]+)$/.test(name) ? 0.9 : 0;
  },
  read,
  policy: () => null,
  write: applyEdits,
};

function read(files: readonly SourceFile[]): TypedConfiguration {
  const into = new Collection(files);
  const stanzas = files.flatMap(stanzasOf);
  const starts = new Map<string, string[]>();
  const definitions = new Map<string, Stanza[]>();
  for (const stanza of stanzas) {
    const { word, rest, place } = stanza.head;
    if (word === 'iface') {
      const name = rest.split(/\s+/)[0]!;
      definitions.set(name, [...(definitions.get(name) ?? []), stanza]);
    } else if (word === 'auto' || word.startsWith('allow-')) {
      const when = word.replace(/^allow-/, '');
      for (const name of rest.split(/\s+/))
        starts.set(name, [...new Set([...(starts.get(name) ?? []), when])].sort());
      for (const option of stanza.options)
        into.leave(option.place, 'This option stands under no interface.', null);
    } else if (word === 'source' || word === 'source-directory') {
      if (!isGiven(rest, word, files))
        into.leave(place, `The file ${rest} is not among the files that were given.`, null);
    } else if (word === 'no-auto-down' || word === 'no-scripts') {
      into.add('setting', `${word} ${rest}`, 'start', stanza.place, rest.split(/\s+/).sort());
    } else
      into.leave(
        stanza.place,
        word === 'mapping' || word === 'rename'
          ? `What ${word} does is decided on the device.`
          : 'This is no stanza of an interfaces file.',
        null,
      );
  }
  for (const [name, own] of definitions) readInterface(name, own, definitions, starts.get(name) ?? [], into);
  return { dialect: 'ifupdown', files, objects: into.objects, opaque: into.opaque, syntax: null };
}

function readInterface(
  name: string,
  own: readonly Stanza[],
  all: ReadonlyMap<string, readonly Stanza[]>,
  start: readonly string[],
  into: Collection,
): void {
  const id = objectId('interface', name);
  const addresses: string[] = [];
  const methods: string[] = [];
  const options = new Map<string, readonly string[]>();
  const commands: string[] = [];
  const references: Reference[] = [];
  const mention = (other: string, { place }: Pick<InterfacesLine, 'place'>) =>
    references.push({ to: objectId('interface', other), text: other, place });
  let comment: string | null = null;

  for (const stanza of own) {
    const [, family = '', method = '', inherits, template] = stanza.head.rest.split(/\s+/);
    if (inherits === 'inherits' && template !== undefined) mention(template, stanza.head);
    methods.push(`${family} ${method}`.trim());
    if (family !== 'inet' && family !== 'inet6')
      into.leave(stanza.place, `The address family ${family || '(none)'} is not read.`, id);
    const { lines, trouble } = optionsOf(stanza, all, [name]);
    if (trouble !== null) into.leave(stanza.head.place, trouble, id);
    const netmask = lines.find(({ word }) => word === 'netmask')?.rest;
    for (const line of lines) {
      const inherited = !stanza.options.includes(line);
      if (line.word === 'address') {
        const text = withLength(line.rest, netmask);
        if (text === null) into.leave(line.place, 'This is not an address with a netmask.', id);
        else addresses.push(text);
      } else if (line.word === 'gateway') {
        into.addRoute(
          { destination: family === 'inet6' ? '::/0' : '0.0.0.0/0', gateway: line.rest, interface: name },
          line.place,
        );
      } else if (line.word === 'description') comment = line.rest;
      else if (COMMANDS.has(line.word)) {
        commands.push(`${line.word} ${line.rest.replace(/\s+/g, ' ')}`);
        const route = /up$/.test(line.word) ? routeOfCommand(line.rest, name) : null;
        if (route !== null) into.addRoute(route, line.place);
        else if (!inherited && !undoes(line))
          into.leave(line.place, 'What this command does is not known.', id);
      } else if (line.word !== 'netmask') {
        const words = line.rest.split(/\s+/).filter((word) => word !== '');
        if (MEMBERS.has(line.word)) for (const other of words) if (other !== 'none') mention(other, line);
        // One that is there again adds to what stands before: which of them counts is for its program to say.
        const all = [...(options.get(line.word) ?? []), ...words];
        options.set(line.word, all);
      }
    }
  }
  const vlan = /^(.+)\.(\d{1,4})$/.exec(name);
  if (vlan !== null) mention(vlan[1]!, own[0]!.head);
  const value = {
    start: [...start],
    methods: methods.sort(),
    addresses: addresses.sort(),
    ...(vlan === null ? {} : { vlan: Number(vlan[2]), parent: vlan[1]! }),
    ...(options.size === 0 ? {} : { options: valuesOf(options) }),
    ...(commands.length === 0 ? {} : { commands }),
  };
  into.add('interface', name, 'interfaces', own[0]!.place, value, references, comment);
}

/** Options by name; of a single word the word. */
function valuesOf(options: ReadonlyMap<string, readonly string[]>): Value {
  return Object.fromEntries(
    [...options].map(([name, words]) => [name, words.length === 1 ? words[0]! : words]),
  );
}

/** `down ip route del …` takes away what an `up` line gave: nothing of its own. */
function undoes({ word, rest }: InterfacesLine): boolean {
  return /down$/.test(word) && /^(?:\/s?bin\/)?ip (?:-[46] )?route del(?:ete)? /.test(rest);
}

/** The options of a stanza: first those of the template it inherits from, then its own. */
function optionsOf(
  stanza: Stanza,
  all: ReadonlyMap<string, readonly Stanza[]>,
  seen: readonly string[],
): { readonly lines: readonly InterfacesLine[]; readonly trouble: string | null } {
  const [, , , inherits, template] = stanza.head.rest.split(/\s+/);
  if (inherits !== 'inherits' || template === undefined) return { lines: stanza.options, trouble: null };
  if (seen.includes(template))
    return { lines: stanza.options, trouble: `The template ${shorten(template, 40)} inherits from itself.` };
  const from = all.get(template)?.[0];
  if (from === undefined)
    return { lines: stanza.options, trouble: `The template ${shorten(template, 40)} is not there.` };
  const { lines, trouble } = optionsOf(from, all, [...seen, template]);
  return { lines: [...lines, ...stanza.options], trouble };
}

/** Is a file of this pattern among those given? Relative paths count from the folder of the interfaces file. */
function isGiven(pattern: string, word: string, files: readonly SourceFile[]): boolean {
  const wanted = word === 'source-directory' ? `${pattern.replace(/\/$/, '')}/*` : pattern;
  const last = wanted.replace(/^\/?(?:etc\/network\/)?/, '');
  return files.some(({ name }) => endsInPattern(name, last));
}
