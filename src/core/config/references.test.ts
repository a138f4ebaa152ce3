import { describe, expect, it } from 'vitest';
import { type ConfigObject, indexReferences, objectId, type Span, textOf } from './index.ts';

const place: Span = { file: 'gateway.conf', line: 2, endLine: 2, start: 6, end: 11 };

function object(kind: ConfigObject['kind'], name: string, to: readonly string[] = []): ConfigObject {
  return {
    id: objectId(kind, name),
    kind,
    name,
    section: '',
    place,
    value: null,
    order: null,
    comment: null,
    references: to.map((id) => ({ to: id, text: id, place })),
  };
}

describe('references', () => {
  const ferry = object('address', 'ferry');
  const fleet = object('address-group', 'fleet', [ferry.id, ferry.id]);
  const rule = object('rule', 'boarding', [fleet.id, 'service gangway']);
  const index = indexReferences({ objects: [ferry, fleet, rule] });

  it('lead from an object to what it uses and back to its users, each once', () => {
    expect(index.usedBy(fleet.id)).toEqual([ferry]);
    expect(index.usersOf(ferry.id)).toEqual([fleet]);
    expect(index.usersOf(fleet.id)).toEqual([rule]);
    expect(index.usersOf(rule.id)).toEqual([]);
  });

  it('to an object that does not exist are dangling', () => {
    expect(index.dangling.map(({ from, reference }) => [from.name, reference.to])).toEqual([
      ['boarding', 'service gangway'],
    ]);
    expect(index.usedBy(rule.id)).toEqual([fleet]);
  });

  it('of an id that is defined twice go to the first definition', () => {
    const again = { ...ferry, value: 'other' };
    expect(indexReferences({ objects: [ferry, again] }).byId.get(ferry.id)).toBe(ferry);
  });
});

describe('the text of a place', () => {
  it('is cut out of its file, and empty for a file that is not there', () => {
    const files = [{ name: 'gateway.conf', text: 'first\nquay!\n' }];
    expect(textOf(files, place)).toBe('quay!');
    expect(textOf(files, { ...place, file: 'other' })).toBe('');
  });
});
