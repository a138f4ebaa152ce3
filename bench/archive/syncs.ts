import fs from 'node:fs';
import { syncBuiltinESMExports } from 'node:module';

/** Syncs (fsync(2)) that this process has asked for, and the milliseconds in which at least one was under way. */
export class Syncs {
  #count = 0;
  #milliseconds = 0;
  #underWay = 0;
  #since = 0;

  /** Counts from now on, whoever in this process asks for one by a callback or a promise of `node:fs`. */
  constructor() {
    const { fsync } = fs;
    const counted: typeof fs.fsync = Object.assign(
      (descriptor: number, done: fs.NoParamCallback) => {
        this.#begin();
        fsync(descriptor, (cause) => {
          this.#end();
          done(cause);
        });
      },
      { __promisify__: fsync.__promisify__ },
    );
    fs.fsync = counted;
    syncBuiltinESMExports();
  }

  #begin(): void {
    this.#count += 1;
    this.#underWay += 1;
    if (this.#underWay === 1) this.#since = performance.now();
  }

  #end(): void {
    this.#underWay -= 1;
    if (this.#underWay === 0) this.#milliseconds += performance.now() - this.#since;
  }

  get now(): { readonly count: number; readonly milliseconds: number } {
    return { count: this.#count, milliseconds: this.#milliseconds };
  }
}
