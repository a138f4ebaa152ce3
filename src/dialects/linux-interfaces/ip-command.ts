import { familyOfText, prefixText } from './addresses.ts';
import type { Route } from './objects.ts';

/**
 * The route that a command line such as `ip route add 10.3.0.0/16 via 10.1.0.254 dev eth0 metric 50` adds (ip-route(8)).
 * Null when the command does something else, or says more than is read here.
 */
export function routeOfCommand(command: string, iface: string): Route | null {
  const words = command
    .trim()
    .split(/\s+/)
    .map((word) => (word === '$IFACE' || word === '"$IFACE"' ? iface : word));
  const [, option, rest] =
    /^(?:\/s?bin\/|\/usr\/s?bin\/)?ip ((?:-[46] )?)(?:route|ro|r) (?:add|replace|append) (.*)$/.exec(
      words.join(' '),
    ) ?? [];
  if (rest === undefined) return null;
  const [destination, ...pairs] = rest.split(' ');
  const found: Record<string, string> = {};
  while (pairs.length > 0) {
    const key = pairs.shift()!;
    if (key === 'onlink') continue;
    const value = pairs.shift();
    if (!['via', 'dev', 'metric', 'table'].includes(key) || value === undefined || key in found) return null;
    found[key] = value;
  }
  if (destination !== 'default' && familyOfText(destination!) === undefined) return null;
  if (found.metric !== undefined && !/^\d{1,10}$/.test(found.metric)) return null;
  const family = option?.includes('6') || familyOfText(found.via ?? '') === 6 ? 6 : 4;
  return {
    destination: prefixText(destination!, family),
    gateway: found.via ?? null,
    interface: found.dev ?? null,
    ...(found.metric === undefined ? {} : { metric: Number(found.metric) }),
    ...(found.table === undefined ? {} : { table: found.table }),
  };
}
