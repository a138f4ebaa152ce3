import { z } from 'zod';
import { TREE_FORMATS } from '#dialects/tree';
import { capturesOf, PathMistake, parsePath } from './path.ts';

/** Text that is a path, or a template with captures such as `{low}-{high}`. */
const pathText = z
  .string()
  .min(1)
  .max(400)
  .superRefine((text, context) => {
    try {
      parsePath(text);
    } catch (mistake) {
      if (!(mistake instanceof PathMistake)) throw mistake;
      context.addIssue({ code: 'custom', message: `This path cannot be read: ${mistake.message}` });
    }
  });

/** A template is told from a path by a capture and the lack of a step with words around it. */
export const isTemplate = (text: string): boolean => text.includes('{');

const fieldText = z
  .string()
  .min(1)
  .max(400)
  .superRefine((text, context) => {
    if (isTemplate(text)) {
      if (!/^(?:[^{}]|\{[a-z][\w-]*\})+$/i.test(text))
        context.addIssue({ code: 'custom', message: 'A template is text with captures such as {name}' });
      return;
    }
    const { error } = pathText.safeParse(text);
    for (const issue of error?.issues ?? []) context.addIssue({ code: 'custom', message: issue.message });
  });

/** How the text of a field is written. */
export const ADDRESS_FORMATS = [
  'address',
  'a.b.c.d/len',
  'a.b.c.d/mask',
  'a.b.c.d mask',
  'a.b.c.d wildcard',
  'low-high',
  'name',
] as const;

const field = z.union(
  [
    fieldText,
    z.strictObject({
      take: fieldText.describe('A path from the object, or a template with captures'),
      split: z
        .string()
        .min(1)
        .max(4)
        .optional()
        .describe('A mark that separates the entries of a list, besides blanks'),
      otherwise: z.string().optional().describe('The text where nothing is found'),
    }),
  ],
  { error: 'This must be a path, or an object with take' },
);

const base = {
  at: pathText,
  name: field.optional(),
  comment: field.optional(),
  ignore: z
    .array(pathText)
    .optional()
    .describe('Parts of the object that mean nothing to traffic, such as logging'),
};

const endpoints = {
  from: field.optional().describe('Zones or interfaces the packet comes in by'),
  to: field.optional().describe('Zones or interfaces it goes out by'),
  source: field.optional(),
  destination: field.optional(),
  protocol: field.optional(),
  ports: field.optional().describe('Destination ports'),
  'source-ports': field.optional(),
  service: field.optional().describe('Names of services, or protocol/ports'),
  disabled: field.optional().describe('The rule does not count where this is there'),
};

const entry = <T extends z.ZodRawShape>(shape: T) =>
  z.array(z.strictObject({ ...base, ...shape }).superRefine(knowsItsCaptures)).optional();

function knowsItsCaptures(value: Record<string, unknown>, context: z.RefinementCtx): void {
  let known: string[] = [];
  try {
    known = capturesOf(parsePath(String(value.at)));
  } catch {
    return;
  }
  for (const [key, given] of Object.entries(value)) {
    if (key === 'at' || key === 'ignore') continue;
    const text = typeof given === 'string' ? given : (given as { take?: unknown } | null)?.take;
    if (typeof text !== 'string' || !isTemplate(text)) continue;
    for (const [, name] of text.matchAll(/\{([a-z][\w-]*)\}/gi)) {
      if (!known.includes(name!))
        context.addIssue({
          code: 'custom',
          path: [key],
          message: `The capture {${name}} does not stand in "at"`,
        });
    }
  }
}

const word = z.string().min(1);
const verdict = z.enum(['accept', 'drop', 'reject']);

export const mappingSchema = z.strictObject({
  mapping: z.literal(1).describe('The version of this format'),
  name: z.string().regex(/^[a-z][a-z0-9-]{0,40}$/, 'A name of lower-case letters, digits and hyphens'),
  title: z.string().min(1).max(120).optional(),
  format: z.enum(TREE_FORMATS as [string, ...string[]]),
  recognise: z
    .array(z.string().min(1).max(200))
    .min(1)
    .max(10)
    .optional()
    .describe('Texts that all stand in the first 8 KiB'),
  words: z
    .strictObject({
      any: z.array(word).default(['any', 'all']),
      not: z.array(word).default(['not', '!']),
      accept: z.array(word).default(['accept', 'permit', 'allow', 'pass']),
      drop: z.array(word).default(['drop', 'deny', 'block', 'discard']),
      reject: z.array(word).default(['reject']),
      protocols: z.record(word, z.number().int().min(0).max(255)).default({}),
      ports: z.record(word, z.number().int().min(0).max(65535)).default({}),
    })
    .prefault({}),
  addresses: entry({ value: field, as: z.enum(ADDRESS_FORMATS).optional() }),
  groups: entry({ members: field }),
  services: entry({
    protocol: field.optional(),
    ports: field.optional(),
    'source-ports': field.optional(),
    icmp: field.optional(),
  }),
  'service-groups': entry({ members: field }),
  zones: entry({ interfaces: field.optional() }),
  interfaces: entry({ addresses: field.optional(), zone: field.optional(), disabled: field.optional() }),
  rules: entry({
    ...endpoints,
    action: field,
    as: z.enum(ADDRESS_FORMATS).optional(),
    order: field.optional().describe('A number; the order of the text where absent'),
  }),
  nat: entry({
    ...endpoints,
    kind: z.enum(['source', 'destination', 'masquerade']),
    'to-addresses': field.optional(),
    'to-ports': field.optional(),
    as: z.enum(ADDRESS_FORMATS).optional(),
  }),
  routes: entry({ destination: field, gateway: field.optional(), interface: field.optional() }),
  settings: z.array(pathText).optional().describe('Parts that say nothing about traffic'),
  policy: z
    .strictObject({
      paths: z
        .array(z.enum(['through', 'to', 'from']))
        .min(1)
        .default(['through']),
      stateful: z.boolean().default(false).describe('Packets of connections that were let through pass'),
      otherwise: verdict.optional().describe('What happens to a packet that no rule matches'),
    })
    .prefault({}),
});

export type Mapping = z.infer<typeof mappingSchema>;
export type Field = z.infer<typeof field>;
export type EntryOf<
  Key extends
    | 'addresses'
    | 'groups'
    | 'services'
    | 'service-groups'
    | 'zones'
    | 'interfaces'
    | 'rules'
    | 'nat'
    | 'routes',
> = NonNullable<Mapping[Key]>[number];
