import { linkError } from '../errors.ts';
import { type Answer, fill, type Handbook, type Match, Missing, placeholdersOf } from '../handbook/index.ts';
import type { ObservedSlots } from '../port/index.ts';
import type { Way } from '../session/index.ts';
import { noSpace, type Output } from '../session/index.ts';
import { repliesTo } from './answers.ts';
import { safeValue } from './placeholders.ts';

/** A command of a handbook, whatever else stands beside it. */
export interface Step {
  readonly run: string;
  readonly mode?: string | undefined;
  readonly timeout?: number | undefined;
  readonly answers: readonly Answer[];
}

/** What was given, what came, and what was found in it; for `handbook try`. Holds no secret. */
export interface Trace {
  readonly action: string;
  readonly command: string;
  readonly output: string;
  readonly refusal: string | null;
  readonly matches: readonly Match[];
}

export interface RunnerOptions {
  readonly name: string;
  readonly handbook: Handbook;
  /** Values of the device's own entry, for `{own.NAME}`. */
  readonly own: Readonly<Record<string, string>>;
  /** Secrets by name. */
  readonly secrets: Readonly<Record<string, string>>;
  readonly observer?: ((trace: Trace) => void) | undefined;
}

export interface StepContext {
  readonly action: string;
  readonly limitSeconds: number;
  readonly values?: Readonly<Record<string, string>>;
  /** The device may close the link instead of answering (boot, restart, shut down). */
  readonly mayClose?: boolean;
  /** Return the output of a refused command instead of throwing. */
  readonly evenRefused?: boolean;
}

/** Gives the commands of a handbook: fills placeholders, types answers, tells refusals from answers. */
export class Runner {
  readonly #options: RunnerOptions;
  readonly #way: () => Promise<Way>;
  readonly #slots: () => Promise<ObservedSlots>;

  constructor(options: RunnerOptions, way: () => Promise<Way>, slots: () => Promise<ObservedSlots>) {
    this.#options = options;
    this.#way = way;
    this.#slots = slots;
  }

  /** Throws `links/refused`, `links/no-space`, `links/closed`, `links/timeout` and those of filling placeholders. */
  async run(step: Step, context: StepContext): Promise<Output> {
    const text = await this.filled(step.run, context.values);
    const replies = repliesTo(step.answers, this.#options.name, this.#options.secrets);
    const { session } = await this.#way();
    const output = await session.run({
      text,
      mode: step.mode ?? null,
      timeoutSeconds: step.timeout ?? context.limitSeconds,
      replies,
    });
    const { name } = this.#options;
    if (output.closed) {
      if (context.mayClose === true) return output;
      throw linkError('links/closed', `${name} ended the connection, or the command, during "${text}".`, {
        advice: 'Whether the command took effect is not known.',
      });
    }
    if (output.refusal !== null && context.evenRefused !== true) {
      this.trace(context.action, text, output, []);
      const words = this.redacted(output.refusal);
      throw linkError(
        noSpace(words) ? 'links/no-space' : 'links/refused',
        `${name} refused "${text}": ${ended(words)}`,
      );
    }
    return output;
  }

  /** Puts values in place of placeholders. Throws `links/missing-value`, `links/unsafe-name`. */
  async filled(text: string, values: Readonly<Record<string, string>> = {}): Promise<string> {
    const all: Record<string, string> = { ...values };
    const used = placeholdersOf(text);
    if (used.includes('running') || used.includes('spare')) {
      const { slots, running } = await this.#slots();
      all.running = running;
      const spare = slots.find((slot) => slot.id !== running);
      if (spare !== undefined) all.spare = spare.id;
    }
    return fill(text, (placeholder) => {
      const ownName = /^own\.(.+)$/u.exec(placeholder)?.[1];
      const value = ownName === undefined ? all[placeholder] : this.#options.own[ownName];
      if (value !== undefined) return safeValue(`value of {${placeholder}}`, value);
      throw linkError(
        'links/missing-value',
        `The entry of ${this.#options.name} has no value for {${placeholder}}.`,
      );
    });
  }

  trace(action: string, command: string, output: Output, matches: readonly Match[]): void {
    this.#options.observer?.({
      action,
      command,
      output: this.redacted(output.text),
      refusal: output.refusal === null ? null : this.redacted(output.refusal),
      matches: matches.map((match) => ({
        ...match,
        text: this.redacted(match.text),
        value: match.value === null ? null : this.redacted(match.value),
      })),
    });
  }

  /** The error of an output that lacks something: what was expected and the first lines that came. */
  unreadable(action: string, missing: Missing | string, outputs: readonly string[]) {
    const what = missing instanceof Missing ? missing.what : missing;
    const lines = this.redacted(outputs.join('')).split('\n').slice(0, MAX_LINES);
    const came = lines
      .map((line) => line.trimEnd().slice(0, MAX_LINE))
      .join('\n  ')
      .trim();
    return linkError(
      'links/unreadable-output',
      `${this.#options.name} did not show what the handbook expects of "${action}": ${what}.`,
      { advice: came === '' ? 'It printed nothing.' : `It printed:\n  ${came}` },
    );
  }

  /** Text without the secrets of this device. */
  redacted(text: string): string {
    let clean = text;
    const hidden = Object.entries(this.#options.secrets).filter(([name]) => !OPEN.has(name));
    for (const [, secret] of hidden)
      for (const part of secret.trim().includes('\n') ? secret.split('\n') : [secret])
        if (part.trim().length >= MIN_SECRET) clean = clean.replaceAll(part, '[secret]');
    return clean;
  }
}

/** Kept among the secrets for convenience, and none. */
const OPEN: ReadonlySet<string> = new Set(['snmpPort', 'snmpAuthProtocol', 'snmpPrivacyProtocol']);
const MAX_LINES = 8;
const MAX_LINE = 120;
/** Shorter texts stand in harmless words too; a secret of three letters keeps nothing safe. */
const MIN_SECRET = 4;

const ended = (words: string) => (/[.!?]$/u.test(words) ? words : `${words}.`);
