/** The device says no. The shell prints `refused: REASON`; nothing was changed. */
export class Refusal extends Error {
  constructor(readonly reason: string) {
    super(reason);
    this.name = 'Refusal';
  }
}

/** The power went while something was under way. Nobody is left to answer. */
export class PowerLost extends Error {
  constructor() {
    super('the power went');
    this.name = 'PowerLost';
  }
}
