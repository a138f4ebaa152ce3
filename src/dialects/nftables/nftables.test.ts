import { describe, expect, it } from 'vitest';
import { indexReferences, textOf } from '#core/config';
import { nftables } from './index.ts';

const read = (text: string, ...others: [string, string][]) =>
  nftables.read([
    { name: 'gateway.nft', text },
    ...others.map(([name, content]) => ({ name, text: content })),
  ]);

const rulesOf = (text: string): unknown[] =>
  read(text)
    .objects.filter((object) => object.order !== null)
    .map((object) => (object.value as string[]).join(' '));

const HARBOUR = `#!/usr/sbin/nft -f
flush ruleset
define quay = { 10.1.0.0/16, 10.2.0.0/16 }
define desk = 10.1.2.3

table inet harbour {
  set services {
    type inet_service
    flags interval
    elements = { 443, 8000-8080 }
  }
  map berths { type ipv4_addr : verdict; elements = { 10.1.2.3 : accept, 10.1.2.4 : jump boarding }; }
  chain boarding {
    ip saddr $quay tcp dport @services accept comment "boarding desk"
  }
  chain forward {
    type filter hook forward priority filter + 5; policy drop;
    ct state established,related accept # answers
    iifname "quay*" ip daddr $desk jump boarding
    ip daddr vmap @berths
  }
}
`;

describe('an nftables ruleset is read into objects', () => {
  const configuration = read(HARBOUR);
  const { objects } = configuration;
  const named = (name: string) => objects.find((object) => object.name === name)!;

  it('with kind, name, place and value', () => {
    expect(configuration.opaque).toEqual([]);
    expect(objects.map((object) => [object.kind, object.name])).toEqual([
      ['address-group', '$quay'],
      ['address', '$desk'],
      ['table', 'inet harbour'],
      ['service-group', 'inet harbour services'],
      ['map', 'inet harbour berths'],
      ['chain', 'inet harbour boarding'],
      ['rule', 'boarding desk'],
      ['chain', 'inet harbour forward'],
      ['rule', 'inet harbour forward rule 1'],
      ['rule', 'inet harbour forward rule 2'],
      ['rule', 'inet harbour forward rule 3'],
    ]);
    expect(named('inet harbour services').place).toMatchObject({ line: 7, endLine: 11 });
    expect(named('inet harbour services').value).toMatchObject({ elements: ['443', '8000-8080'] });
    expect(named('inet harbour forward').value).toMatchObject({
      hook: 'forward',
      priority: 5,
      policy: 'drop',
    });
  });

  it('with references both ways', () => {
    const index = indexReferences(configuration);
    expect(index.dangling).toEqual([]);
    expect(index.usersOf('address-group $quay').map((object) => object.name)).toEqual(['boarding desk']);
    expect(index.usersOf('chain inet harbour boarding').map((object) => object.kind)).toEqual([
      'map',
      'rule',
    ]);
    expect(index.usedBy('rule inet harbour forward 2').map((object) => object.id)).toEqual([
      'map inet harbour berths',
    ]);
  });

  it('whose places give the raw text back', () => {
    expect(textOf(configuration.files, named('boarding desk').place)).toBe(
      'ip saddr $quay tcp dport @services accept comment "boarding desk"',
    );
  });
});

describe('commands of a script are applied in order', () => {
  const base = 'table ip t { chain c { accept; drop; } }\n';

  it('rules are added, inserted, put behind an index, and replaced by handle', () => {
    expect(
      rulesOf(`${base}add rule ip t c counter\ninsert rule t c log\nadd rule t c index 1 return\n`),
    ).toEqual(['log', 'accept', 'return', 'drop', 'counter']);
    const listed = 'table ip t {\n chain c {\n accept # handle 4\n drop # handle 7\n }\n}\n';
    expect(rulesOf(`${listed}delete rule t c handle 4\nreplace rule t c handle 7 return\n`)).toEqual([
      'return',
    ]);
  });

  it('elements come and go, and flush empties', () => {
    const set = 'table ip t { set s { type ipv4_addr; elements = { 10.0.0.1, 10.0.0.2 }; } }\n';
    const elements = (text: string) =>
      (read(text).objects.find((object) => object.kind === 'address-group')!.value as { elements: string[] })
        .elements;
    expect(elements(`${set}add element t s { 10.0.0.3 }\ndelete element t s { 10.0.0.1 }\n`)).toEqual([
      '10.0.0.2',
      '10.0.0.3',
    ]);
    expect(elements(`${set}flush set t s\n`)).toEqual([]);
    expect(rulesOf(`${base}flush chain t c\n`)).toEqual([]);
    expect(read(`${base}flush ruleset\n`).objects).toEqual([]);
  });

  it('one that names something unknown is an opaque part with its place', () => {
    const { opaque } = read(`${base}\nadd rule ip t nowhere accept\ndelete rule t c handle 9\n`);
    expect(opaque.map((part) => [part.place.line, part.why])).toEqual([
      [3, 'there is no chain nowhere in table t'],
      [4, 'the rule with this handle is not known here'],
    ]);
  });
});

describe('variables and includes', () => {
  it('a variable may hold a chain, an interface, a list; inner ones end with their block', () => {
    const text = `define wan = "wan0"
table inet t {
  define ports = { 22, 443 }
  chain away { drop; }
  chain c { type filter hook input priority 0; iifname $wan tcp dport $ports jump away; }
}
table inet u { chain c { tcp dport $ports accept; } }
`;
    expect(rulesOf(text).slice(0, 2)).toEqual(['drop', 'iifname wan0 tcp dport { 22, 443 } jump away']);
    expect(read(text).opaque.map((part) => part.why)).toEqual(['the variable $ports is not defined']);
  });

  it('an included file is read at its place and only there', () => {
    const text = 'include "/etc/nftables.d/*.nft"\ntable ip t { chain c { ip saddr $crew accept; } }\n';
    const { opaque, objects } = read(text, ['etc/nftables.d/names.nft', 'define crew = 10.3.0.0/16\n']);
    expect(opaque).toEqual([]);
    expect(objects.filter((object) => object.name === '$crew')).toHaveLength(1);
  });

  it('a file included inside a chain or table adds its lines there', () => {
    const text =
      'table ip t {\n include "sets.nft"\n chain c {\n accept\n include "rules.nft"\n drop\n }\n}\n';
    const { opaque, objects } = read(
      text,
      ['sets.nft', 'set s { type ipv4_addr; }\n'],
      ['rules.nft', 'ip saddr @s log\nreturn\n'],
    );
    expect(opaque).toEqual([]);
    const rules = objects.filter((object) => object.order !== null);
    expect(rules.map((object) => (object.value as string[]).join(' '))).toEqual([
      'accept',
      'ip saddr @s log',
      'return',
      'drop',
    ]);
    expect(rules.map((object) => `${object.place.file}:${object.place.line}`)).toEqual([
      'gateway.nft:4',
      'rules.nft:1',
      'rules.nft:2',
      'gateway.nft:6',
    ]);
  });

  it('a file that is not here is named', () => {
    expect(read('include "./absent.nft"\n').opaque).toMatchObject([
      { place: { line: 1 }, why: 'the included file ./absent.nft is not here', mayAffectTraffic: true },
    ]);
  });
});

describe('a statement that is not understood', () => {
  it('is an opaque part of its rule; what can be read of the rule is read', () => {
    const { opaque, objects } = read(
      'table ip t {\n chain c {\n  tcp dport 22 gangway 7 lowered counter drop\n  accept\n }\n}\n',
    );
    expect(opaque).toMatchObject([
      { place: { file: 'gateway.nft', line: 3 }, text: 'gangway 7 lowered', within: 'rule ip t c 0' },
    ]);
    expect(objects.filter((object) => object.kind === 'rule').map((object) => object.value)).toEqual([
      ['tcp dport 22', 'gangway 7 lowered', 'counter', 'drop'],
      ['accept'],
    ]);
  });

  it('outside rules does not hide what follows', () => {
    const { opaque, objects } = read('moor the ship\ntable ip t { chain c { accept; } }\n');
    expect(opaque).toMatchObject([{ place: { line: 1 } }]);
    expect(objects.some((object) => object.kind === 'rule')).toBe(true);
  });
});

describe('nftables recognises', () => {
  const sure = (text: string, name = 'x') => nftables.recognises({ name, text });
  it('its own files and not those of others', () => {
    expect(sure(HARBOUR)).toBe(1);
    expect(sure('table inet t {\n}')).toBeGreaterThan(0.9);
    expect(sure('{"nftables": [{"metainfo": {}}]}')).toBe(1);
    expect(sure('*filter\n:INPUT ACCEPT [0:0]\nCOMMIT\n')).toBe(0);
    expect(sure('[Match]\nName=wan0\n')).toBe(0);
  });
});
