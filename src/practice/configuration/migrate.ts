import type { Files } from '../disk/content.ts';
import { POLICY, SYSTEM } from './files.ts';

/**
 * What a release does to the configuration at its first boot: it notes itself in `written-by`. A faulty one also
 * widens a rule: the first `accept` that names a set of sources loses the sources.
 */
export function migrate(configuration: Files, release: string, wrongly: boolean): Files {
  const migrated = new Map(configuration);
  const change = (name: string, by: (text: string) => string) => {
    const bytes = configuration.get(name);
    if (bytes !== undefined) migrated.set(name, Buffer.from(by(Buffer.from(bytes).toString('utf8'))));
  };
  change(SYSTEM, (text) => text.replace(/^written-by = .*$/m, `written-by = ${release}`));
  if (wrongly) change(POLICY, widen);
  return migrated;
}

/** Only rules for traffic through the device: `oifname` stands in front there. */
const widen = (policy: string): string =>
  policy.replace(/^(\s*oifname "[^"]+" )ip saddr @\w+ (ip daddr .*\baccept\b.*)$/m, '$1$2');
