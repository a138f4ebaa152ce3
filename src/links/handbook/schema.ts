import { z } from 'zod';
import { actionsSchema } from './actions.ts';
import { duration } from './duration.ts';
import { fields } from './fields.ts';
import { suggestion } from './near-miss.ts';
import { pattern } from './pattern.ts';
import { answerSchema } from './steps.ts';

/** Patterns of refusals: the group `reason`, or the whole match, is what the device says. */
const refusals = z.array(pattern()).default([]);

const execSchema = fields({ kind: z.literal('exec'), refusals });

const modeSchema = fields({
  enter: z.string().min(1),
  prompt: pattern(),
  leave: z.string().min(1),
  answers: z.array(answerSchema).default([]),
});

const shellSchema = fields({
  kind: z.literal('shell'),
  prompt: pattern(),
  pager: fields({ pattern: pattern(), answer: z.string().min(1) }).optional(),
  refusals,
  modes: z.record(z.string().min(1), modeSchema).default({}),
  /** What ends a typed line. */
  enter: z.enum(['\r', '\n']).default('\r'),
});

const limitsSchema = fields({
  command: duration().prefault('20s'),
  transfer: duration().prefault('10m'),
  install: duration().prefault('5m'),
  boot: duration().prefault('5m'),
});

export const handbookSchema = fields({
  handbook: z.literal(1, { error: 'This program reads handbooks of version 1: write "handbook: 1".' }),
  name: z.string().min(1),
  note: z.string().optional(),
  models: z.array(z.string().min(1)).min(1),
  slots: z.union([z.literal(1), z.literal(2)], { error: 'A device has 1 or 2 slots.' }),
  install: fields({
    writes: z.enum(['running', 'spare']),
    spareConfiguration: z.enum(['own', 'carried']).default('own'),
  }),
  writesWhole: z.boolean().default(false),
  limits: limitsSchema.prefault({}),
  session: z.discriminatedUnion('kind', [execSchema, shellSchema]),
  actions: actionsSchema,
  restart: fields({ afterApply: z.array(z.string().min(1)) }).default({ afterApply: [] }),
}).superRefine((book, context) => {
  const mistake = (path: (string | number)[], message: string) =>
    context.addIssue({ code: 'custom', path, message });
  const { actions, session } = book;

  const identified = actions.identify.steps.flatMap(({ read }) => Object.keys(read));
  if (!identified.includes('boot') && !identified.includes('uptime'))
    mistake(['actions', 'identify'], 'Read "boot" or "uptime": without them no boot can be told from none.');

  if (book.slots === 2) {
    for (const name of ['slots', 'boot'] as const)
      if (actions[name] === undefined)
        mistake(['actions'], `A device of two slots needs the action "${name}".`);
  } else {
    if (book.install.writes === 'spare')
      mistake(['install', 'writes'], 'A device of one slot has no spare slot.');
    for (const name of ['keep', 'recover', 'boot'] as const)
      if (actions[name] !== undefined) mistake(['actions', name], `A device of one slot cannot "${name}".`);
    if (actions.capture.spare !== undefined)
      mistake(['actions', 'capture', 'spare'], 'A device of one slot has no spare slot.');
  }
  if ((actions.armReturn === undefined) !== (actions.disarmReturn === undefined))
    mistake(['actions'], 'Give both "armReturn" and "disarmReturn", or neither.');

  const modes = session.kind === 'shell' ? Object.keys(session.modes) : [];
  for (const { path, mode } of modesIn(actions, ['actions'])) {
    if (modes.includes(mode)) continue;
    if (session.kind === 'exec') mistake(path, 'Modes go with "session.kind: shell" only.');
    else mistake(path, `The session has no mode "${mode}".${suggestion(mode, modes)}`);
  }
});

/** Every `mode: NAME` below a value, with its path. */
function* modesIn(
  value: unknown,
  path: (string | number)[],
): Generator<{ path: (string | number)[]; mode: string }> {
  if (Array.isArray(value)) for (const [at, item] of value.entries()) yield* modesIn(item, [...path, at]);
  else if (typeof value === 'object' && value !== null && !(value instanceof RegExp))
    for (const [key, item] of Object.entries(value)) {
      if (key === 'mode' && typeof item === 'string') yield { path: [...path, key], mode: item };
      else yield* modesIn(item, [...path, key]);
    }
}

/** A handbook that was read and found sound: patterns compiled, durations in seconds, defaults filled in. */
export type Handbook = z.output<typeof handbookSchema>;
type Session = Handbook['session'];
export type ShellSession = Extract<Session, { kind: 'shell' }>;
export type Mode = z.output<typeof modeSchema>;
