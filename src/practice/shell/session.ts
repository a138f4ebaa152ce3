import type { Duplex } from 'node:stream';
import type { PracticeDevice } from '../device/practice-device.ts';
import { PowerLost, Refusal } from '../device/refusal.ts';
import { verbs } from './act.ts';
import { tell } from './tell.ts';
import { Ended, Terminal } from './terminal.ts';

/**
 * The command shell of a practice device: `tell …` in reading, everything else after `enter upkeep`. Runs until
 * the person leaves or the device goes. The prompt ends in `~ ` in reading and in `! ` in upkeep.
 */
export async function runSession(
  device: PracticeDevice,
  stream: Duplex,
  interactive: boolean,
): Promise<void> {
  const terminal = new Terminal(stream, interactive);
  const { name, model, site } = device.spec;
  terminal.write(
    `${name}, ${model}, ${site}\nThis is a practice device, simulated. help lists what it knows.\n`,
  );
  let upkeep = false;
  try {
    for (;;) {
      const line = (await terminal.line(`${name} ${upkeep ? '!' : '~'} `)).trim().replace(/\s+/g, ' ');
      if (line === '') continue;
      if (line === 'bye') return;
      try {
        if (line === 'enter upkeep') upkeep = await enterUpkeep(device, terminal);
        else if (line === 'leave upkeep') upkeep = false;
        else await carryOut(line, upkeep, device, terminal);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        terminal.write(`refused: ${error.reason}\n`);
      }
    }
  } catch (error) {
    if (!(error instanceof Ended || error instanceof PowerLost)) throw error;
  }
}

async function enterUpkeep(device: PracticeDevice, terminal: Terminal): Promise<boolean> {
  const word = await terminal.line('Upkeep word: ', true);
  if (word !== device.upkeepWord) throw new Refusal('that is not the upkeep word');
  return true;
}

async function carryOut(
  line: string,
  upkeep: boolean,
  device: PracticeDevice,
  terminal: Terminal,
): Promise<void> {
  if (line === 'help') {
    await terminal.page([
      ...Object.keys(tell).map((what) => `tell ${what}`),
      'enter upkeep',
      ...verbs.map((v) => v.usage),
      'leave upkeep',
      'bye',
    ]);
    return;
  }
  const [first, what = '', ...words] = line.split(' ');
  if (first === 'tell') {
    const told = Object.hasOwn(tell, what) ? tell[what] : undefined;
    if (told === undefined) throw new Refusal(`tell what? ${Object.keys(tell).join(', ')}`);
    await terminal.page(told(device, words));
    return;
  }
  for (const verb of verbs) {
    const found = verb.pattern.exec(line);
    if (found === null) continue;
    if (!upkeep) throw new Refusal('that needs upkeep: enter upkeep first');
    await verb.act({ device, terminal }, found);
    return;
  }
  throw new Refusal(`this device does not know "${line}"; help lists what it knows`);
}
