import { TuckpointError } from '#core/errors';
import type { ConfigObject, ObjectKind } from '../typed-configuration.ts';
import { fits } from './selector.ts';

/** What becomes of an object whose name the target knows with another value. */
export type Decision =
  | { readonly do: 'keep' | 'take' | 'stop' }
  /** `to`: the new name; null: the old one with `_grafted` behind it. */
  | { readonly do: 'rename'; readonly to: string | null };

/** Decides about one collision. */
export type Decide = (object: ConfigObject, names: readonly string[]) => Decision;

interface Ruling {
  readonly kind: ObjectKind | null;
  /** Null: every object. */
  readonly pattern: string | null;
  readonly decision: Decision;
}

/**
 * Reads one `[KIND:]NAME=DECISION`, or DECISION alone for all; DECISION is keep, take, stop, rename or rename:NAME.
 * @throws TuckpointError `config/decision`.
 */
export function readDecision(text: string): Ruling {
  const at = text.lastIndexOf('=');
  const word = text.slice(at + 1).trim();
  const name = at < 0 ? null : text.slice(0, at).trim();
  const kind = name === null ? null : /^([a-z]+(?:-[a-z]+)?):(?!:)(.+)$/s.exec(name);
  return {
    kind: (kind?.[1] as ObjectKind | undefined) ?? null,
    pattern: kind?.[2] ?? name,
    decision: decisionOf(word, text),
  };
}

function decisionOf(word: string, text: string): Decision {
  if (word === 'keep' || word === 'take' || word === 'stop') return { do: word };
  if (word === 'rename') return { do: 'rename', to: null };
  const to = /^rename:([\w.\-/]+)$/.exec(word)?.[1];
  if (to !== undefined) return { do: 'rename', to };
  throw new TuckpointError('config/decision', `"${word}" does not say what to do about a collision.`, {
    place: { field: text },
    advice: 'Write keep (theirs), take (ours), rename, rename:NAME or stop, alone or as NAME=DECISION.',
  });
}

/** The first ruling that names the object decides, then the one for all; without any the graft stops. */
export function decisionRule(rulings: readonly Ruling[]): Decide {
  return (object, names) => {
    const fitting = rulings.filter(({ kind }) => kind === null || kind === object.kind);
    const named = fitting.find(
      ({ pattern }) => pattern !== null && names.some((name) => fits(pattern, name)),
    );
    return (named ?? fitting.find(({ pattern }) => pattern === null))?.decision ?? { do: 'stop' };
  };
}
