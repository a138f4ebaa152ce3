import { describe, expect, it } from 'vitest';
import { type ConfigObject, objectFindings, objectId, type TypedConfiguration, type Value } from './index.ts';

const place = { file: 'gateway.conf', line: 1, endLine: 1, start: 0, end: 1 };

function object(
  kind: ConfigObject['kind'],
  name: string,
  value: Value,
  { to = [], section = 'objects' }: { to?: readonly ConfigObject[]; section?: string } = {},
): ConfigObject {
  const references = to.map(({ id }) => ({ to: id, text: id, place }));
  return {
    id: objectId(kind, name),
    kind,
    name,
    section,
    place,
    value,
    order: null,
    comment: null,
    references,
  };
}

function found(...objects: ConfigObject[]) {
  const configuration: TypedConfiguration = { dialect: 'any', files: [], objects, opaque: [], syntax: null };
  return objectFindings(configuration).map(({ kind, object: { name }, ...rest }) => [
    kind,
    name,
    'also' in rest ? rest.also.name : null,
  ]);
}

const quay = object('address', 'quay', { addresses: ['192.0.2.0/24'] });
const pier = object('address', 'pier', { addresses: ['192.0.2.0/24'] });
const fleet = object('address-group', 'fleet', { members: ['pier', 'quay'] }, { to: [quay, pier] });
const rule: ConfigObject = {
  ...object('rule', 'boarding', 'accept', { to: [fleet] }),
  order: { list: 'forward', position: 0 },
};

describe('findings about objects', () => {
  it('name what nobody mentions', () => {
    expect(found(quay, object('address-group', 'idle', { members: ['quay'] }, { to: [quay] }))).toEqual([
      ['unused', 'idle', null],
    ]);
  });

  it('name a content that stands twice under one heading, the later by the earlier', () => {
    expect(found(quay, pier, fleet, rule)).toEqual([['same content', 'pier', 'quay']]);
    const elsewhere = object('address', 'pier', quay.value, { section: 'another table' });
    expect(found(quay, elsewhere, fleet, rule)).toEqual([]);
  });

  it('take no content from what is empty: it may be filled differently', () => {
    const sets = ['seen', 'denied'].map((name) => object('address-group', name, { elements: [] }));
    expect(found(...sets, object('chain', 'input', { hook: 'input' }, { to: sets }))).toEqual([]);
  });

  it('name a name that is given twice', () => {
    expect(found(quay, { ...quay, value: { addresses: ['198.51.100.0/24'] } }, pier, fleet, rule)).toEqual([
      ['defined twice', 'quay', 'quay'],
      ['same content', 'pier', 'quay'],
    ]);
  });

  it('leave chains that a hook enters, and find those that nothing leads to', () => {
    const lost = object('chain', 'lost', { hook: null });
    expect(found(object('chain', 'input', { hook: 'input' }), lost)).toEqual([['unused', 'lost', null]]);
  });
});
