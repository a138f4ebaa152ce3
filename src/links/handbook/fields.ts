import { z } from 'zod';
import { suggestion } from './near-miss.ts';

/** A schema of a map with exactly these keys; an unknown key is refused, with the key that was probably meant. */
export function fields<Shape extends z.core.$ZodLooseShape>(shape: Shape) {
  const known = Object.keys(shape);
  return z.strictObject(shape, {
    error: (issue) => {
      if (issue.code !== 'unrecognized_keys') return undefined;
      return issue.keys.map((key) => `"${key}" is not known here.${suggestion(key, known)}`).join(' ');
    },
  });
}
