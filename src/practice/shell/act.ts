import { faultFrom, faultKinds } from '../device/fault.ts';
import { fileSize, type Instant, type Operation } from '../device/operations.ts';
import type { PracticeDevice } from '../device/practice-device.ts';
import { Refusal } from '../device/refusal.ts';
import { fetchFile } from './fetch.ts';
import { Ended, type Terminal } from './terminal.ts';

/** Whose verb it is, and where it talks. */
export interface ActContext {
  readonly device: PracticeDevice;
  readonly terminal: Terminal;
}

type Verb = {
  readonly pattern: RegExp;
  readonly usage: string;
  act(context: ActContext, found: RegExpExecArray): Promise<void>;
};

/** Throws a Refusal unless the person types yes. */
const confirm = async ({ terminal }: ActContext, what: string): Promise<void> => {
  const answer = await terminal.line(`${what} Go on? (yes/no) `);
  if (answer.trim() !== 'yes') throw new Refusal('not confirmed');
};

/** What can be done in upkeep. Words in capitals in `usage` are to be filled in. */
export const verbs: readonly Verb[] = [
  {
    pattern: /^take release (\S+)$/,
    usage: 'take release FILE',
    async act(context, [, name = '']) {
      const { operations } = context.device;
      const path = context.device.incomingPath(name);
      if (fileSize(path) === null) throw new Refusal(`there is no file ${name}`);
      await confirm(context, `This replaces the release in slot ${operations.installSlot}.`);
      context.terminal.write('checking the archive\n');
      const slot = await operations.install(path);
      context.terminal.write(`done: slot ${slot} holds it, and boots next\n`);
    },
  },
  {
    pattern: /^keep$/,
    usage: 'keep',
    async act(context) {
      await confirm(context, `This overwrites slot ${context.device.operations.spare}.`);
      await context.device.operations.keep();
      context.terminal.write('done: both slots hold the same\n');
    },
  },
  {
    pattern: /^recover$/,
    usage: 'recover',
    async act(context) {
      const { operations, machine } = context.device;
      void operations.spare;
      await confirm(context, `This overwrites slot ${machine.state.running}, which runs.`);
      await operations.recover();
      context.terminal.write('done: both slots hold the same; it runs after a restart\n');
    },
  },
  {
    pattern: /^boot slot (\S+)$/,
    usage: 'boot slot N',
    async act(context, [, id = '']) {
      const { machine } = context.device;
      if (!machine.state.slots.some((slot) => slot.id === id)) throw new Refusal(`there is no slot ${id}`);
      await confirm(context, `This restarts the device from slot ${id}.`);
      context.terminal.write(`going down, to boot from slot ${id}\n`);
      leave(() => machine.restart(id));
    },
  },
  {
    pattern: /^restart$/,
    usage: 'restart',
    async act(context) {
      const { machine } = context.device;
      await confirm(context, 'This restarts the device.');
      context.terminal.write('going down, to restart\n');
      leave(() => machine.restart(machine.state.next));
    },
  },
  {
    pattern: /^stop$/,
    usage: 'stop',
    async act(context) {
      await confirm(context, 'This turns the device off.');
      context.terminal.write('going down, to stay off\n');
      leave(() => context.device.machine.turnOff());
    },
  },
  {
    pattern: /^load configuration (\S+)$/,
    usage: 'load configuration FOLDER',
    async act(context, [, name = '']) {
      const path = context.device.incomingPath(name);
      await confirm(context, 'This replaces the running configuration.');
      await context.device.operations.load(path);
      context.terminal.write('done: the configuration is loaded\n');
    },
  },
  {
    pattern: /^return in (\d{1,7})$/,
    usage: 'return in SECONDS',
    async act(context, [, seconds]) {
      context.device.operations.armReturn(Number(seconds));
      context.terminal.write(`done: the configuration returns in ${seconds} seconds\n`);
    },
  },
  {
    pattern: /^return cancel$/,
    usage: 'return cancel',
    async act(context) {
      context.device.operations.cancelReturn();
      context.terminal.write('done: the configuration stays\n');
    },
  },
  {
    pattern: /^fetch (\S+) as (\S+)$/,
    usage: 'fetch URL as NAME',
    async act(context, [, url = '', name = '']) {
      const { bytes, sha256 } = await fetchFile(context.device, url, name);
      context.terminal.write(`done: ${name} bytes=${bytes} sha256=${sha256}\n`);
    },
  },
  {
    pattern: /^remove (\S+)$/,
    usage: 'remove FILE',
    async act(context, [, name = '']) {
      context.device.remove(name);
      context.terminal.write('done\n');
    },
  },
  {
    pattern: /^practice fault (\S+)(?: (\S+))?$/,
    usage: 'practice fault KIND [VALUE]',
    async act({ device, terminal }, [, kind = '', value]) {
      const fault = faultFrom(kind, value);
      if (fault === null) throw new Refusal(`no such fault; there are ${faultKinds.join(', ')}`);
      const others = device.machine.state.faults.filter((f) => f.kind !== fault.kind);
      device.machine.commit({ faults: [...others, fault] });
      terminal.write(`done: ${kind}\n`);
    },
  },
  {
    pattern: /^practice clear$/,
    usage: 'practice clear',
    async act({ device, terminal }) {
      device.machine.commit({ faults: [] });
      terminal.write('done: no faults but those of the release\n');
    },
  },
  {
    pattern: /^practice unreachable (\d{1,7})$/,
    usage: 'practice unreachable SECONDS',
    async act(context, [, seconds]) {
      context.terminal.write(`silent for ${seconds} seconds\n`);
      leave(() => context.device.machine.hide(Number(seconds) * 1000));
    },
  },
  {
    pattern: /^practice power-loss during (install|keep|recover|load)(?: (before|half|after))?$/,
    usage: 'practice power-loss during OPERATION [before|half|after]',
    async act({ device, terminal }, [, operation, at = 'half']) {
      device.operations.losePowerDuring(operation as Operation, at as Instant);
      terminal.write(`done: the power goes in the next ${operation}\n`);
    },
  },
];

/** The device goes, and with it the session. What was said before is still sent. */
function leave(go: () => void): never {
  go();
  throw new Ended();
}
