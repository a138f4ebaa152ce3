import type { FieldChange } from './difference/index.ts';
import type { Value } from './typed-configuration.ts';

/** Names of settings whose value is a secret, or opens one. Common practice, no source. */
const NAME =
  '[\\w.-]*(?:passw(?:or)?d|passphrase|secret|community|psk|pre-?shared-?key|private-?key|auth-?key|key-string)[\\w.-]*';
/** `name = value`, `name: value`, `"name": "value"`. */
const ASSIGNED = new RegExp(
  `((?:^|[\\s"'{,;])${NAME}["']?\\s*[:=]\\s*)("(?:[^"\\\\]|\\\\.)*"|[^\\s,;}"]+)`,
  'giu',
);
/** `name value` at the begin of a line: elsewhere it may be the name of a group before a verdict. */
const FIRST = new RegExp(`(^\\s*${NAME}\\s+)("(?:[^"\\\\]|\\\\.)*"|[^\\s;{}:="]+)`, 'iu');
/** `<name>value</name>` */
const ELEMENT = new RegExp(`(<${NAME}>)([^<]+)`, 'giu');
/** A user of an SNMP agent with the words it signs and encrypts by (snmpd.conf). */
const USER = /^\s*createUser\s/u;
const QUOTED = /(\s)("[^"]*")/gu;
const WHOLE_NAME = new RegExp(`^${NAME}$`, 'iu');
const BEGIN = /-----BEGIN [A-Z0-9 ]*PRIVATE KEY-----/u;
const END = /-----END [A-Z0-9 ]*PRIVATE KEY-----/u;

/**
 * Hides what looks like a secret before a configuration is shown or written down in clear. Secrets are numbered, so
 * that a changed one still shows as changed: one hider for all that is laid side by side. It knows names of settings
 * only: a secret under an unusual name is not found.
 */
export class SecretHider {
  readonly #numbers = new Map<string, number>();

  /** Text of a configuration file, as many lines as before. */
  text(text: string): string {
    let inKey = false;
    return text
      .split('\n')
      .map((line) => {
        if (inKey && !END.test(line)) return line === '' ? line : this.#hidden(line);
        inKey = BEGIN.test(line) && !END.test(line);
        return this.#line(line);
      })
      .join('\n');
  }

  /** The value of a field, however deep secrets stand in it. */
  value(field: string, value: Value): Value {
    if (typeof value === 'string' || typeof value === 'number')
      return WHOLE_NAME.test(field.split(/[\s/.]/u).at(-1)!) ? this.#hidden(String(value)) : value;
    if (typeof value !== 'object' || value === null) return value;
    if (Array.isArray(value)) return value.map((one: Value) => this.value(field, one));
    return Object.fromEntries(Object.entries(value).map(([name, one]) => [name, this.value(name, one)]));
  }

  #line(line: string): string {
    const hide = (_: string, name: string, value: string) => `${name}${this.#hidden(value)}`;
    if (USER.test(line)) return line.replace(QUOTED, hide);
    return line.replace(ASSIGNED, hide).replace(FIRST, hide).replace(ELEMENT, hide);
  }

  #hidden(secret: string): string {
    const bare = secret.replace(/^"(.*)"$/u, '$1').replace(/\r$/u, '');
    const number = this.#numbers.get(bare) ?? this.#numbers.size + 1;
    this.#numbers.set(bare, number);
    return `(secret ${number})`;
  }
}

/** Fields that differ, with secrets in them hidden. */
export function withoutSecrets(fields: readonly FieldChange[]): FieldChange[] {
  const hider = new SecretHider();
  const hide = (field: string, value: Value | undefined) =>
    value === undefined ? undefined : hider.value(field, value);
  return fields.map((change) => ({
    ...change,
    before: hide(change.field, change.before),
    after: hide(change.field, change.after),
  }));
}
