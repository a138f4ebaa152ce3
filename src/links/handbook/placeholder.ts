import { z } from 'zod';
import { suggestion } from './near-miss.ts';

/** A placeholder is `{word}` or `{own.word}`; `{{word}}` stands for the text `{word}`; other braces are left alone. */
const PLACEHOLDER = /\{\{([A-Za-z][\w.-]*)\}\}|\{([A-Za-z][\w.-]*)\}/gu;

/** Names that any command may use: the slots as the device shows them, and values of the device's own entry. */
const EVERYWHERE = ['running', 'spare'];

/** Placeholders a text uses. */
export function placeholdersOf(text: string): string[] {
  return [...text.matchAll(PLACEHOLDER)].flatMap((match) => (match[2] === undefined ? [] : [match[2]]));
}

/** Puts values in place of placeholders. `lookUp` returns the value or throws. */
export function fill(text: string, lookUp: (name: string) => string): string {
  return text.replace(PLACEHOLDER, (_, literal?: string, name?: string) =>
    name === undefined ? `{${literal}}` : lookUp(name),
  );
}

/** Schema of a text with placeholders, of which only `known` and those usable everywhere may stand in it. */
export function template(known: readonly string[] = []) {
  const all = [...known, ...EVERYWHERE];
  return z
    .string()
    .min(1)
    .superRefine((text, context) => {
      for (const name of placeholdersOf(text)) {
        if (all.includes(name) || /^own\.[\w-]+$/u.test(name)) continue;
        const offer = all.map((word) => `{${word}}`).join(', ');
        context.addIssue({
          code: 'custom',
          message: `{${name}} stands for nothing here: use ${offer} or {own.NAME}, or write {{${name}}} for the text itself.${suggestion(name, all)}`,
        });
      }
    });
}
