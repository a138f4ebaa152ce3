interface Waiting<Item, Result> {
  readonly item: Item;
  readonly size: number;
  resolve(result: Result): void;
  reject(cause: unknown): void;
}

/**
 * What is asked for while the writer is at work is done together in its next turn, so that many share the cost of
 * one: the disk is synced once for all of them. When a turn fails, each of its items gets a turn of its own, so that
 * one that cannot be done does not take others with it.
 */
export class Together<Item, Result> {
  readonly #turn: (work: () => Promise<readonly Result[]>) => Promise<readonly Result[]>;
  readonly #work: (items: readonly Item[]) => Promise<readonly Result[]>;
  readonly #most: { readonly items: number; readonly size: number };
  #waiting: Waiting<Item, Result>[] = [];
  #busy: Promise<void> | undefined;

  /** `turn` runs work alone; `work` does the items it is given, all or none; `most`: of one turn. */
  constructor(
    turn: (work: () => Promise<readonly Result[]>) => Promise<readonly Result[]>,
    work: (items: readonly Item[]) => Promise<readonly Result[]>,
    most: { readonly items: number; readonly size: number },
  ) {
    this.#turn = turn;
    this.#work = work;
    this.#most = most;
  }

  do(item: Item, size: number): Promise<Result> {
    return new Promise((resolve, reject) => {
      this.#waiting.push({ item, size, resolve, reject });
      this.#busy ??= this.#all();
    });
  }

  /** Resolves when nothing waits any more. */
  async idle(): Promise<void> {
    await this.#busy;
  }

  async #all(): Promise<void> {
    while (this.#waiting.length > 0) await this.#next();
    this.#busy = undefined;
  }

  #take(): Waiting<Item, Result>[] {
    let size = 0;
    const end = this.#waiting.findIndex((one, i) => {
      size += one.size;
      return i > 0 && (i >= this.#most.items || size > this.#most.size);
    });
    return this.#waiting.splice(0, end === -1 ? this.#waiting.length : end);
  }

  async #next(): Promise<void> {
    let taken: Waiting<Item, Result>[] = [];
    try {
      const results = await this.#turn(() => {
        taken = this.#take();
        return this.#work(taken.map(({ item }) => item));
      });
      for (const [i, one] of taken.entries()) one.resolve(results[i]!);
    } catch (cause) {
      // Before any was taken: the turn itself was not to be had.
      if (taken.length === 0) taken = this.#waiting.splice(0);
      else if (taken.length > 1) return this.#oneByOne(taken);
      for (const one of taken) one.reject(cause);
    }
  }

  async #oneByOne(taken: readonly Waiting<Item, Result>[]): Promise<void> {
    for (const one of taken)
      await this.#turn(() => this.#work([one.item])).then(([result]) => one.resolve(result!), one.reject);
  }
}
