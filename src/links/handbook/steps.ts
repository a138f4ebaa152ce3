import { z } from 'zod';
import { duration } from './duration.ts';
import { fields } from './fields.ts';
import { pattern } from './pattern.ts';
import { template } from './placeholder.ts';

/** What to type when the device asks in mid-command: a fixed text, or a secret kept with the device, by its name. */
export const answerSchema = fields({
  pattern: pattern(),
  answer: z.string().optional(),
  secret: z.string().min(1).optional(),
}).superRefine((value, context) => {
  if ((value.answer === undefined) === (value.secret === undefined))
    context.addIssue({ code: 'custom', message: 'Give either "answer" or "secret".' });
});

/** One command and how it is run. `timeout` in seconds; without it the limit of the action holds. */
export const runShape = (known: readonly string[] = []) => ({
  run: template(known),
  mode: z.string().min(1).optional(),
  timeout: duration().optional(),
  answers: z.array(answerSchema).default([]),
});

/** An action that only gives commands. */
export const commands = (known: readonly string[] = []) =>
  fields({ steps: z.array(fields(runShape(known))).min(1) });

/** Reading a list from output: lines (or records, which begin at each line that `record` matches) that match `each`. */
export const eachShape = (need: readonly string[]) => ({
  record: pattern().optional(),
  each: pattern(need),
});

export const transportSchema = z.enum(['sftp', 'scp', 'http']);
export const byteUnitSchema = z.enum(['B', 'KiB', 'MiB', 'GiB']).default('B');

/** Pushes the files of a configuration into a folder of the device; over HTTP the device pulls each with `run`. */
export const putShape = {
  put: template(),
  by: transportSchema.default('sftp'),
  run: template(['url', 'name']).optional(),
  mode: z.string().min(1).optional(),
  timeout: duration().optional(),
  answers: z.array(answerSchema).default([]),
};

export type Answer = z.output<typeof answerSchema>;
export type Transport = z.output<typeof transportSchema>;
export type ByteUnit = z.output<typeof byteUnitSchema>;
