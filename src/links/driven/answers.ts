import { linkError } from '../errors.ts';
import type { Answer } from '../handbook/index.ts';
import type { Reply } from '../session/index.ts';

/** Puts the secrets in place that answers name. Throws `links/missing-secret`. */
export function repliesTo(
  answers: readonly Answer[],
  device: string,
  secrets: Readonly<Record<string, string>>,
): Reply[] {
  return answers.map(({ pattern, answer, secret }) => {
    if (secret === undefined) return { pattern, text: answer ?? '', secret: false };
    const text = secrets[secret];
    if (text !== undefined) return { pattern, text, secret: true };
    throw linkError('links/missing-secret', `No secret "${secret}" is kept for ${device}.`, {
      advice: `Add it with "tuckpoint device add … --secret ${secret}=FILE".`,
    });
  });
}
