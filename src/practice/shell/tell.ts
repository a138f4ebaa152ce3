import type { PracticeDevice } from '../device/practice-device.ts';
import { counterNames } from '../device/readings.ts';
import { Refusal } from '../device/refusal.ts';
import { sha256 } from '../disk/content.ts';

/** What `tell WHAT` prints, as lines. Reading only. */
export const tell: Readonly<Record<string, (device: PracticeDevice, words: readonly string[]) => string[]>> =
  {
    identity(device) {
      const { state } = device.machine;
      return [
        'practice device, simulated',
        `name: ${device.spec.name}`,
        `model: ${device.spec.model}`,
        `serial: ${device.spec.serial}`,
        `place: ${device.spec.site}`,
        `release: ${state.booted.release}`,
        `slot: ${state.running}`,
        `boot: ${state.boot}`,
        `boots: ${state.bootCount}`,
        `up for: ${Math.floor(device.uptimeMs / 1000)} seconds`,
      ];
    },

    slots(device) {
      return device.slots().map((slot) => {
        const flags = [slot.running ? ' running' : '', slot.next ? ' next' : ''].join('');
        return `slot ${slot.id} release=${slot.release} configuration=${slot.configuration.slice(0, 16)}${flags}`;
      });
    },

    interfaces(device) {
      return device.interfaces().map((each) => {
        const counters = counterNames.map((name) => `${name}=${each.counters[name]}`);
        return `interface ${each.name} set=${each.set} link=${each.link} ${counters.join(' ')}`;
      });
    },

    health(device) {
      const { memory, processorPercent, probes } = device.health();
      return [
        'figures are simulated',
        `memory total=${memory.total} free=${memory.free}`,
        `processor busy=${processorPercent}`,
        `disk free=${device.operations.freeBytes}`,
        ...probes.map((probe) => `probe ${probe.target} sent=${probe.sent} lost=${probe.lost}`),
        ...(device.role === null ? [] : [`pair peer=${device.spec.peer} role=${device.role}`]),
        ...device.alarms().map((alarm) => `alarm ${alarm}`),
      ];
    },

    configuration(device, [word, id]) {
      if (word !== undefined && word !== 'slot')
        throw new Refusal(`tell configuration, or tell configuration slot N`);
      const slot = device.slots().find((each) => (word === undefined ? each.running : each.id === id));
      if (slot === undefined) throw new Refusal(`there is no slot ${id ?? ''}`);
      const files = device.configuration(slot.id);
      return [...files].flatMap(([name, bytes]) => {
        const text = Buffer.from(bytes).toString('utf8');
        return [
          `file ${name} bytes=${bytes.length} sha256=${sha256(bytes)}`,
          ...text.replace(/\n$/, '').split('\n'),
          '',
        ];
      });
    },

    log: (device) => [...device.machine.log.lines],

    files(device) {
      const files = [...device.incoming()];
      return files.length === 0
        ? ['no files']
        : files.map(([name, bytes]) => `file ${name} bytes=${bytes.length}`);
    },

    digest(device, [name]) {
      const bytes = device.readIncoming(name ?? '');
      return [`digest sha256=${sha256(bytes)} bytes=${bytes.length}`];
    },

    faults(device) {
      const own = device.machine.state.faults.map((fault) => `fault ${JSON.stringify(fault)}`);
      return own.length === 0 ? ['no fault was asked for'] : own;
    },
  };
