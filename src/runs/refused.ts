import { TuckpointError } from '#core/errors';
import { drawSlots, type Refusal, type SlotState } from '#core/slots';

/** A step that may not be taken, as an error: nothing was touched by it. */
export function refused(refusal: Pick<Refusal, 'sentence' | 'advice'>): TuckpointError {
  return new TuckpointError('runs/refused', refusal.sentence, { advice: refusal.advice });
}

/** Throws `runs/not-as-expected` with the slots as seen when an act left something else than it should. */
export function verifySlots(asExpected: boolean, seen: SlotState, what: string): void {
  if (asExpected) return;
  throw new TuckpointError(
    'runs/not-as-expected',
    `The device did not refuse, but does not show ${what}. It shows:\n${drawSlots(seen)}`,
    { advice: 'Nothing further was done.' },
  );
}
