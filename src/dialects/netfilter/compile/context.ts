import type { Family } from '#core/address';
import type { Path } from '#core/traffic';
import type { Table } from '../syntax.ts';
import type { Notes } from './notes.ts';

/** What is fixed while one base chain is compiled for one family of packets. */
export interface Context {
  readonly family: Family;
  readonly table: Table;
  /** No out interface is known yet: the prerouting hook. */
  readonly beforeRouting: boolean;
  /** Connection tracking has not seen the packet yet. */
  readonly beforeTracking: boolean;
  readonly natChain: boolean;
  readonly paths: readonly Path[];
  readonly notes: Notes;
}
