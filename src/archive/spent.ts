import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

/**
 * Buffers lie outside the heap of JavaScript, which alone decides when to look for what is no longer used: it lets 64 MB of
 * them pile up, and more of its own. So whoever goes through much says so here. Every PILE the young are looked at (a
 * millisecond), every so many times all (ten or twenty). What is smaller than a PILE is mostly gone with the young, and
 * counts less towards that: otherwise looking at all would be most of what taking in takes.
 */
const PILE = 4 * 1024 * 1024;
const ALL = 8;
const SMALL_COUNTS = 1 / 4;

type Collect = (options?: { readonly type: 'minor' }) => void;
let collect: Collect | undefined;
let piled = 0;
let untilAll = ALL * PILE;

function collector(): Collect {
  setFlagsFromString('--expose-gc');
  return runInNewContext('gc') as Collect;
}

/** So many bytes are used now and soon no longer. */
export function spent(bytes: number): void {
  piled += bytes;
  untilAll -= bytes < PILE ? bytes * SMALL_COUNTS : bytes;
  if (piled < PILE) return;
  piled = 0;
  collect ??= collector();
  if (untilAll > 0) collect({ type: 'minor' });
  else {
    untilAll = ALL * PILE;
    collect();
  }
}

/** What was in use for long is no longer used. */
export function spentAll(): void {
  spent(ALL * PILE);
}

/**
 * For processes that go through much and hold little, as the service does: young objects are looked at more often, in
 * less room (V8 would take 32 MB of it). Others are better off without: what holds much is slowed down by this.
 */
export function stayLean(): void {
  setFlagsFromString('--semi-space-growth-factor=1');
}
