import type { Finding, Judgement } from './finding.ts';
import type { InterfaceReading, LinkState, Reading } from './reading.ts';

/** The states of all interfaces in either reading, vanished and new ones included. */
export function compareInterfaces(before: Reading, after: Reading): readonly Finding[] {
  const gone = before.interfaces
    .filter((then) => !after.interfaces.some((now) => now.name === then.name))
    .map((then) => vanished(then));
  const present = after.interfaces.map((now) => {
    const then = before.interfaces.find((other) => other.name === now.name);
    return then === undefined ? appeared(now) : compareStates(then, now);
  });
  if (gone.length + present.length === 0) return [noneRead()];
  return [...gone, ...present];
}

function compareStates(then: InterfaceReading, now: InterfaceReading): Finding {
  const oper = judgeState(then.oper, now.oper);
  const admin = judgeState(then.admin, now.admin);
  const judgement = [oper, admin].includes('worse') ? 'worse' : oper === 'same' ? admin : oper;
  return {
    ...about(now.name, stateText(then), stateText(now)),
    judgement,
    why: whyState(judgement, then, now),
    decides: then.oper !== 'unknown',
  };
}

function judgeState(then: LinkState, now: LinkState): Judgement {
  if (then === now) return 'same';
  if (then === 'unknown' || now === 'unknown') return 'unknown';
  return now === 'up' ? 'better' : 'worse';
}

function whyState(judgement: Judgement, then: InterfaceReading, now: InterfaceReading): string {
  switch (judgement) {
    case 'same':
      return 'The state is the same.';
    case 'unknown':
      return 'One of the states could not be told.';
    case 'better':
      return `It is ${now.oper} now.`;
    case 'worse':
      return then.admin === 'up' && now.admin === 'down'
        ? 'It was switched on before and is switched off now.'
        : `It was ${then.oper} before and is ${now.oper} now.`;
  }
}

function vanished(then: InterfaceReading): Finding {
  return {
    ...about(then.name, stateText(then), 'not there'),
    judgement: 'worse',
    why: 'The device no longer shows this interface.',
    decides: true,
  };
}

function appeared(now: InterfaceReading): Finding {
  return {
    ...about(now.name, 'not there', stateText(now)),
    judgement: 'unknown',
    why: 'The device did not show this interface before.',
    decides: false,
  };
}

function noneRead(): Finding {
  return {
    kind: 'interface',
    what: 'interfaces',
    before: 'none read',
    after: 'none read',
    judgement: 'unknown',
    why: 'No interface was read at either time.',
    decides: true,
  };
}

function about(name: string, before: string, after: string) {
  return { kind: 'interface', what: `interface ${name}`, before, after } as const;
}

function stateText({ admin, oper }: InterfaceReading): string {
  return admin === 'down' ? `${oper}, switched off` : oper;
}
