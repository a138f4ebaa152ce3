import { z } from 'zod';
import { duration } from './duration.ts';
import { fields } from './fields.ts';
import { pattern } from './pattern.ts';
import { template } from './placeholder.ts';
import { byteUnitSchema, commands, eachShape, putShape, runShape, transportSchema } from './steps.ts';

const IDENTITY = ['model', 'serial', 'hostname', 'release'] as const;

const identifySchema = fields({
  steps: z
    .array(
      fields({
        ...runShape(),
        read: fields({
          model: pattern().optional(),
          serial: pattern().optional(),
          hostname: pattern().optional(),
          release: pattern().optional(),
          boot: pattern().optional(),
          uptime: pattern().optional(),
        }),
      }),
    )
    .min(1),
}).superRefine((value, context) => {
  for (const name of IDENTITY) {
    if (value.steps.some((step) => step.read[name] !== undefined)) continue;
    context.addIssue({ code: 'custom', message: `No step reads "${name}", which identify must find.` });
  }
});

/** `GROUP~REGEX`: true for a slot whose named group matches. */
const conditionSchema = z.string().transform((text, context) => {
  const cut = text.indexOf('~');
  const parsed = pattern().safeParse(text.slice(cut + 1));
  if (cut > 0 && parsed.success) return { group: text.slice(0, cut), pattern: parsed.data };
  context.addIssue({
    code: 'custom',
    message: `"${text}" is not a condition: write GROUP~REGEX, such as flags~running.`,
  });
  return z.NEVER;
});

const slotsStep = fields({
  ...runShape(),
  record: pattern().optional(),
  each: pattern(['id']).optional(),
  running: conditionSchema.optional(),
  next: conditionSchema.optional(),
  read: fields({ running: pattern().optional(), next: pattern().optional() }).default({}),
}).superRefine((step, context) => {
  for (const mark of ['running', 'next'] as const) {
    const group = step[mark]?.group;
    if (group === undefined || step.each?.groups.includes(group)) continue;
    context.addIssue({ code: 'custom', path: [mark], message: `"each" names no group "${group}".` });
  }
});

const slotsSchema = fields({ steps: z.array(slotsStep).min(1) }).superRefine((value, context) => {
  if (!value.steps.some((step) => step.each !== undefined))
    context.addIssue({ code: 'custom', message: 'No step lists the slots with "each".' });
  for (const mark of ['running', 'next'] as const) {
    if (value.steps.some((step) => step[mark] !== undefined || step.read[mark] !== undefined)) continue;
    context.addIssue({ code: 'custom', message: `No step says which slot is "${mark}".` });
  }
});

/** A configuration: files of a folder, or the output of commands. */
const takeSchema = fields({
  folder: template().optional(),
  files: z.array(z.string().min(1)).min(1).default(['**']),
  by: z.enum(['sftp', 'scp']).default('sftp'),
  steps: z
    .array(
      fields({
        ...runShape(),
        save: z.string().min(1).optional(),
        split: pattern(['name']).optional(),
      }).superRefine((step, context) => {
        if ((step.save === undefined) === (step.split === undefined))
          context.addIssue({
            code: 'custom',
            message: 'Give either "save" (one file) or "split" (several).',
          });
      }),
    )
    .min(1)
    .optional(),
}).superRefine((value, context) => {
  if ((value.folder === undefined) === (value.steps === undefined))
    context.addIssue({ code: 'custom', message: 'Give either "folder" or "steps".' });
});

const applySchema = fields({
  steps: z
    .array(
      z.unknown().transform((value, context) => {
        const isPut = typeof value === 'object' && value !== null && 'put' in value;
        const parsed = (isPut ? fields(putShape) : fields(runShape())).safeParse(value);
        if (parsed.success) return parsed.data;
        for (const issue of parsed.error.issues) context.issues.push({ ...issue, input: value } as never);
        return z.NEVER;
      }),
    )
    .min(1),
});

const transferSchema = fields({
  by: transportSchema,
  to: template(['name']),
  run: template(['url', 'name', 'path']).optional(),
  mode: z.string().min(1).optional(),
  timeout: duration().optional(),
  answers: runShape().answers,
  digest: fields({ ...runShape(['path', 'name']), read: pattern() }),
  space: fields({ ...runShape(), read: pattern(), unit: byteUnitSchema }).optional(),
}).superRefine((value, context) => {
  if ((value.by === 'http') !== (value.run !== undefined))
    context.addIssue({
      code: 'custom',
      message:
        value.by === 'http'
          ? 'With "by: http" give "run", the command that fetches {url}.'
          : '"run" goes with "by: http" only.',
    });
});

const readingSchema = fields({
  snmp: z.boolean().default(false),
  fields: z.array(fields({ ...runShape(), read: z.record(z.string().min(1), pattern()) })).default([]),
  loss: z
    .array(
      fields({
        target: template(),
        ...runShape(),
        read: fields({
          sent: pattern(),
          lost: pattern().optional(),
          received: pattern().optional(),
        }).superRefine((read, context) => {
          if ((read.lost === undefined) === (read.received === undefined))
            context.addIssue({ code: 'custom', message: 'Give either "lost" or "received".' });
        }),
      }),
    )
    .default([]),
  interfaces: fields({
    ...runShape(),
    ...eachShape(['name']),
    bits: z.union([z.literal(32), z.literal(64)]).default(64),
  }).optional(),
  memory: fields({
    ...runShape(),
    read: fields({ total: pattern(), free: pattern() }),
    unit: byteUnitSchema,
  }).optional(),
  processor: fields({
    ...runShape(),
    read: fields({ used: pattern().optional(), idle: pattern().optional() }).superRefine((read, context) => {
      if ((read.used === undefined) === (read.idle === undefined))
        context.addIssue({ code: 'custom', message: 'Give either "used" or "idle".' });
    }),
  }).optional(),
  alarms: fields({ ...runShape(), ...eachShape([]) }).optional(),
});

export const actionsSchema = fields({
  identify: identifySchema,
  slots: slotsSchema.optional(),
  capture: fields({ running: takeSchema, spare: takeSchema.optional() }),
  apply: applySchema.optional(),
  transfer: transferSchema.optional(),
  install: commands(['path', 'name', 'sha256']).optional(),
  keep: commands().optional(),
  recover: commands().optional(),
  boot: commands(['slot']).optional(),
  restart: commands().optional(),
  shutdown: commands().optional(),
  armReturn: commands(['seconds']).optional(),
  disarmReturn: commands().optional(),
  clean: commands().optional(),
  report: z.array(fields({ ...runShape(), save: z.string().min(1) })).optional(),
  reading: readingSchema.optional(),
});

export type Actions = z.output<typeof actionsSchema>;
export type SlotsStep = z.output<typeof slotsStep>;
export type Take = z.output<typeof takeSchema>;
export type ReadingAction = z.output<typeof readingSchema>;
export type TransferAction = z.output<typeof transferSchema>;
