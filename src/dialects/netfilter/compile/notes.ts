import type { Family } from '#core/address';
import type { Match, Origin, Path, Unread } from '#core/traffic';
import type { Statement } from '../syntax.ts';

/** Where in the policy a remark was made. */
export interface Spot {
  readonly family: Family;
  readonly paths: readonly Path[];
}

interface Remark {
  readonly origin: Origin;
  readonly reason: string;
  readonly paths: Set<Path>;
  readonly families: Set<Family>;
  match: Match | undefined;
}

/** What is gathered while a policy is compiled: names of conditions, fields asked about, what was not understood. */
export class Notes {
  /** Fields that some rule looks at and the packet space cannot express, such as `meta mark`. */
  private readonly asked = new Set<string>();
  /** Does any rule look at the connection state? */
  usesState = false;
  private readonly remarks = new Map<string, Remark>();
  private readonly later: { field: string; origin: Origin; spot: Spot; match: Match | undefined }[] = [];
  private readonly names = new Map<Statement, string>();
  private readonly used = new Map<string, number>();
  private readonly ruleText: (statement: Statement) => string;

  constructor(ruleText: (statement: Statement) => string) {
    this.ruleText = ruleText;
  }

  ask(field: string): void {
    this.asked.add(field);
  }

  /**
   * The name of a condition that counts or remembers: it belongs to one rule alone, so the rule's text is part of
   * it and a number only when one policy has the same rule twice.
   */
  own(statement: Statement, text: string): string {
    const known = this.names.get(statement);
    if (known !== undefined) return known;
    const rule = this.ruleText(statement);
    const base = rule === text ? text : `${text} (rule "${rule}")`;
    const count = (this.used.get(base) ?? 0) + 1;
    this.used.set(base, count);
    const name = count === 1 ? base : `${base} #${count}`;
    this.names.set(statement, name);
    return name;
  }

  /** Something not understood or not followed, for packets within `match` at most. */
  unread(origin: Origin, reason: string, spot: Spot, match: Match | undefined): void {
    const key = `${origin.file}:${origin.line}:${reason}:${origin.text}`;
    const known = this.remarks.get(key);
    if (known === undefined) {
      this.remarks.set(key, {
        origin,
        reason,
        paths: new Set(spot.paths),
        families: new Set([spot.family]),
        match: match === undefined || Object.keys(match).length === 0 ? undefined : match,
      });
      return;
    }
    for (const path of spot.paths) known.paths.add(path);
    known.families.add(spot.family);
    // Reached in two ways with different limits: the wider claim is the safe one.
    if (JSON.stringify(known.match) !== JSON.stringify(match)) known.match = undefined;
  }

  /** A rule changes a field; it matters only if some rule looks at it, which is known at the end. */
  changed(field: string, origin: Origin, spot: Spot, match: Match | undefined): void {
    this.later.push({ field, origin, spot, match });
  }

  /** Everything a policy built with these notes is exact but for. */
  finish(): Unread[] {
    for (const { field, origin, spot, match } of this.later) {
      if (field === 'connection state') {
        if (this.usesState) this.unread(origin, 'later rules see these packets as untracked', spot, match);
      } else if (PACKET_FIELDS.test(field)) {
        this.unread(origin, `it rewrites ${field}, which later rules match on`, spot, match);
      } else if (this.asked.has(field)) {
        this.unread(origin, `it sets ${field}, which other rules look at`, spot, match);
      }
    }
    this.later.length = 0;
    return [...this.remarks.values()].map(({ origin, reason, paths, families, match }) => ({
      ...origin,
      reason,
      paths: [...paths],
      families: [...families].sort(),
      ...(match === undefined ? {} : { match }),
    }));
  }
}

const PACKET_FIELDS =
  /^(ip6? [sd]addr|ip protocol|ip6 nexthdr|(tcp|udp|udplite|sctp|dccp|th) [sd]port|icmp(v6)? (type|code)|@(nh|th),.*)$/;
