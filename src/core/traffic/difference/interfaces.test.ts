import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { InterfaceNames } from './interfaces.ts';

/** Which of the atoms a name belongs to: the name itself, else the longest beginning, else "any other". */
function atomOf({ atoms }: InterfaceNames, name: string): number {
  const own = atoms.findIndex(({ text, single }) => single && text === name);
  return own >= 0 ? own : atoms.findIndex(({ text, single }) => !single && name.startsWith(text));
}

const examplesOf = (mentioned: readonly string[]) => {
  const names = new InterfaceNames(mentioned);
  return names.atoms.map(({ example }) => [example, atomOf(names, example)]);
};

describe('interface names', () => {
  it('of no rule are shown by an ordinary one, also where its beginning is taken', () => {
    expect(examplesOf(['lan0'])).toEqual([
      ['lan0', 0],
      ['other0', 1],
    ]);
    expect(examplesOf(['o*'])).toEqual([
      ['o0', 0],
      ['link0', 1],
    ]);
    expect(examplesOf(['o*', 'l*', '0*', '1'])).toEqual([
      ['1', 0],
      ['0' + '0', 1],
      ['l0', 2],
      ['o0', 3],
      ['2', 4],
    ]);
  });

  it('have an example of every atom, whatever names and beginnings there are', () => {
    const name = fc.string({ unit: fc.constantFrom(...'ol012', 'Ā'), minLength: 1, maxLength: 3 });
    const mentioned = fc.array(
      fc.oneof(
        name,
        name.map((text) => `${text}*`),
      ),
    );
    // Every ordinary character after a beginning may be taken.
    const crowded = fc
      .constantFrom('', 'o', 'other')
      .map((stem) => [...'0123456789abcdefghijklmnopqrstuvwxyz'].map((character) => `${stem}${character}*`));
    fc.assert(
      fc.property(mentioned, fc.oneof(fc.constant([]), crowded), (some, all) => {
        for (const [i, [, atom]] of examplesOf([...some, ...all]).entries()) expect(atom).toBe(i);
      }),
    );
  });
});
