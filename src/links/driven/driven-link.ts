import type { Reading } from '#core/reading';
import { linkError } from '../errors.ts';
import {
  type Actions,
  factsOf,
  identityFrom,
  linesOf,
  Missing,
  matchesAny,
  noSlots,
  type ReadingAction,
  readFields,
  readSlots,
  slotsFrom,
  splitFiles,
  type Take,
} from '../handbook/index.ts';
import type {
  BootChoice,
  DeviceFacts,
  Identity,
  Link,
  NamedFile,
  ObservedSlots,
  Progress,
  ReleaseFile,
  RemoteFile,
} from '../port/index.ts';
import type { Way } from '../session/index.ts';
import { Push } from './push.ts';
import { type SnmpPart, takeReading } from './reading.ts';
import { Runner, type RunnerOptions, type StepContext } from './runner.ts';

export interface DrivenOptions extends RunnerOptions {
  /** Opens a way; called again when the last one broke. */
  readonly open: () => Promise<Way>;
  /** Reads by SNMP; called where the handbook asks for it. */
  readonly snmp: () => Promise<SnmpPart>;
  /** RFC 3339, with zone. */
  readonly now: () => string;
}

/** A handbook without `reading`: the boot id and the uptime of identify are all there is. */
const NOTHING_TO_READ: ReadingAction = { snmp: false, fields: [], loss: [] };

/** A device operated by its handbook. It opens its way on the first call, and again after the device closed it. */
export class DrivenLink implements Link {
  readonly facts: DeviceFacts;
  readonly #options: DrivenOptions;
  readonly #actions: Actions;
  readonly #runner: Runner;
  readonly #push: Push;
  #way: Way | null = null;
  #closed = false;

  constructor(options: DrivenOptions) {
    this.#options = options;
    this.#actions = options.handbook.actions;
    this.facts = factsOf(options.handbook);
    const way = () => this.#opened();
    this.#runner = new Runner(options, way, () => this.slots());
    this.#push = new Push(this.#runner, way, options.handbook.limits);
  }

  /** Opens the way now; any call does so at need. Throws what opening throws. */
  async connect(): Promise<void> {
    await this.#opened();
  }

  async identify(): Promise<Identity> {
    const values: Record<string, string> = {};
    const shown: string[] = [];
    for (const step of this.#actions.identify.steps) {
      const output = await this.#runner.run(step, this.#context('identify'));
      const found = readFields(output.text, step.read);
      this.#runner.trace('identify', step.run, output, found.matches);
      Object.assign(values, found.values);
      shown.push(output.text);
    }
    const identity = identityFrom(values);
    if (identity instanceof Missing) throw this.#runner.unreadable('identify', identity, shown);
    return identity;
  }

  async slots(): Promise<ObservedSlots> {
    if (this.#actions.slots === undefined) {
      const { release } = await this.identify();
      return { slots: [{ id: '1', release, configuration: null }], running: '1', next: '1' };
    }
    const read = noSlots();
    const shown: string[] = [];
    for (const step of this.#actions.slots.steps) {
      const output = await this.#runner.run(step, this.#context('slots'));
      const before = read.matches.length;
      readSlots(output.text, step, read);
      this.#runner.trace('slots', step.run, output, read.matches.slice(before));
      shown.push(output.text);
    }
    const slots = slotsFrom(read, this.#options.handbook.slots);
    if (slots instanceof Missing) throw this.#runner.unreadable('slots', slots, shown);
    return slots;
  }

  async capture(slot: BootChoice): Promise<readonly NamedFile[]> {
    const take = this.#actions.capture[slot];
    if (take === undefined) throw this.#lacking(`capture the ${slot} slot`);
    const files =
      take.steps === undefined ? await this.#takeFolder(take) : await this.#takeOutputs(take.steps);
    if (files.length === 0) throw this.#runner.unreadable('capture', 'at least one file', []);
    return files;
  }

  async reading(): Promise<Reading> {
    const { handbook, now } = this.#options;
    const action = this.#actions.reading ?? NOTHING_TO_READ;
    const snmp = action.snmp ? this.#options.snmp : null;
    const options = { action, runner: this.#runner, limitSeconds: handbook.limits.command, snmp };
    return takeReading(options, await this.identify(), now());
  }

  async report(): Promise<readonly NamedFile[]> {
    if (this.#actions.report === undefined) throw this.#lacking('report its state');
    const files: NamedFile[] = [];
    for (const step of this.#actions.report) {
      const output = await this.#runner.run(step, this.#context('report'));
      this.#runner.trace('report', step.run, output, []);
      files.push({ name: step.save, bytes: output.bytes });
    }
    return files;
  }

  async remoteFile(file: ReleaseFile): Promise<RemoteFile | null> {
    return this.#push.find(this.#action('transfer'), file);
  }

  async transfer(file: ReleaseFile, progress?: Progress): Promise<RemoteFile> {
    return this.#push.send(this.#action('transfer'), file, progress);
  }

  async install(file: RemoteFile): Promise<void> {
    const name = file.path.slice(file.path.lastIndexOf('/') + 1);
    const values = { path: file.path, name, sha256: file.sha256 };
    await this.#give('install', { limitSeconds: this.#options.handbook.limits.install, values });
  }

  async keep(): Promise<void> {
    await this.#give('keep', { limitSeconds: this.#options.handbook.limits.install });
  }

  async recover(): Promise<void> {
    await this.#give('recover', { limitSeconds: this.#options.handbook.limits.install });
  }

  async apply(files: readonly NamedFile[]): Promise<void> {
    for (const step of this.#action('apply').steps) {
      if ('put' in step) await this.#push.putFiles(step, files);
      else await this.#runner.run(step, this.#context('apply'));
    }
  }

  async boot(slot: BootChoice): Promise<void> {
    const { slots, running } = await this.slots();
    const chosen = slots.find(({ id }) => (id === running) === (slot === 'running'));
    if (chosen === undefined) throw this.#lacking('boot a spare slot');
    await this.#give('boot', { values: { slot: chosen.id }, mayClose: true });
  }

  async restart(): Promise<void> {
    await this.#give('restart', { mayClose: true });
  }

  async shutdown(): Promise<void> {
    await this.#give('shutdown', { mayClose: true });
  }

  async armReturn(seconds: number): Promise<void> {
    await this.#give('armReturn', { values: { seconds: String(Math.ceil(seconds)) } });
  }

  async disarmReturn(): Promise<void> {
    await this.#give('disarmReturn', {});
  }

  /** Does nothing where the handbook has no `clean`. */
  async clean(): Promise<void> {
    if (this.#actions.clean !== undefined) await this.#give('clean', {});
  }

  async close(): Promise<void> {
    this.#closed = true;
    this.#way?.close();
    this.#way = null;
  }

  async #opened(): Promise<Way> {
    if (this.#closed)
      throw linkError('links/closed', `The link to ${this.#options.name} was closed on the workbench.`);
    if (this.#way !== null && !this.#way.session.open) {
      this.#way.close();
      this.#way = null;
    }
    this.#way ??= await this.#options.open();
    return this.#way;
  }

  /** Gives the commands of an action. Where the device may close the link, the way is closed afterwards in any case. */
  async #give(
    name:
      | 'install'
      | 'keep'
      | 'recover'
      | 'boot'
      | 'restart'
      | 'shutdown'
      | 'armReturn'
      | 'disarmReturn'
      | 'clean',
    how: Partial<StepContext>,
  ): Promise<void> {
    const { steps } = this.#action(name);
    for (const [at, step] of steps.entries()) {
      const last = at === steps.length - 1;
      await this.#runner.run(step, {
        ...this.#context(name),
        ...how,
        mayClose: last && how.mayClose === true,
      });
    }
    if (how.mayClose !== true) return;
    this.#way?.close();
    this.#way = null;
  }

  #context(action: string): StepContext {
    return { action, limitSeconds: this.#options.handbook.limits.command };
  }

  #action<Name extends keyof Actions>(name: Name): NonNullable<Actions[Name]> {
    const action = this.#actions[name];
    if (action === undefined) throw this.#lacking(`carry out "${name}"`);
    return action;
  }

  #lacking(what: string) {
    const { handbook, name } = this.#options;
    return linkError(
      'links/not-in-handbook',
      `The handbook "${handbook.name}" does not say how ${name} can ${what}.`,
    );
  }

  async #takeFolder(take: Take): Promise<readonly NamedFile[]> {
    const folder = (await this.#runner.filled(take.folder!)).replace(/(?<=.)\/$/u, '');
    const way = await this.#opened();
    const wanted = (name: string) => matchesAny(name, take.files);
    return way[take.by].readFolder(folder, wanted, this.#options.handbook.limits.command);
  }

  async #takeOutputs(steps: NonNullable<Take['steps']>): Promise<readonly NamedFile[]> {
    const files: NamedFile[] = [];
    for (const step of steps) {
      const output = await this.#runner.run(step, this.#context('capture'));
      const parts = step.split === undefined ? [] : splitFiles(output.text, step.split);
      this.#runner.trace(
        'capture',
        step.run,
        output,
        parts.map(({ name, text }) => partFound(name, text)),
      );
      if (step.save !== undefined) files.push({ name: step.save, bytes: output.bytes });
      else if (parts.length === 0)
        throw this.#runner.unreadable('capture', 'lines that name files', [output.text]);
      for (const { name, text } of parts) files.push({ name, bytes: new TextEncoder().encode(text) });
    }
    return files;
  }
}

function partFound(name: string, text: string) {
  return {
    field: 'split',
    pattern: name,
    line: null,
    text: '',
    value: `${name} (${linesOf(text).length} lines)`,
  };
}
