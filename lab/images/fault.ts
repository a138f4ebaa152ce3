import { labError } from '../errors.ts';

const PLAIN = [
  'does-not-boot',
  'rewrites-configuration',
  'less-memory',
  'wrong-model',
  'bad-signature',
  'tampered',
  'truncated',
] as const;

/** What is wrong with an image, on purpose. */
export type ImageFault =
  | { readonly kind: (typeof PLAIN)[number] }
  | { readonly kind: 'interface-down'; readonly leg: 'outside' | 'inside' | 'dmz' }
  | { readonly kind: 'packet-loss'; readonly percent: number };

const LEGS = ['outside', 'inside', 'dmz'] as const;

/** Reads `does-not-boot`, `interface-down`, `interface-down=dmz`, `packet-loss=12` and the like. Throws `lab/input`. */
export function parseImageFault(text: string): ImageFault {
  const [name = '', value] = text.split('=', 2);
  const plain = PLAIN.find((kind) => kind === name);
  if (plain !== undefined && value === undefined) return { kind: plain };
  if (name === 'interface-down') {
    const leg = LEGS.find((each) => each === (value ?? 'inside'));
    if (leg !== undefined) return { kind: name, leg };
  }
  const percent = Number(value);
  if (name === 'packet-loss' && Number.isInteger(percent) && percent >= 1 && percent <= 99)
    return { kind: name, percent };
  throw labError('lab/input', `"${text}" is not a fault of an image.`, {
    advice: `Use one of ${PLAIN.join(', ')}, interface-down[=outside|inside|dmz], packet-loss=1..99.`,
  });
}
