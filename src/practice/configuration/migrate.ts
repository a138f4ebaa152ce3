import type { Files } from '../disk/content.ts';
import { POLICY } from './files.ts';

/**
 * What a release does to the configuration at its first boot: it writes its number into the head of the policy. A
 * faulty one also widens a rule: the first `accept` that names a set of sources loses the sources.
 */
export function migrate(configuration: Files, release: string, wrongly: boolean): Files {
  const bytes = configuration.get(POLICY);
  if (bytes === undefined) return configuration;
  const text = Buffer.from(bytes).toString('utf8');
  const noted = text.replace(/^# Written by release .*$/m, `# Written by release ${release}.`);
  return new Map([...configuration, [POLICY, Buffer.from(wrongly ? widen(noted) : noted)]]);
}

/** Only rules for traffic through the device: `oifname` stands in front there. */
const widen = (policy: string): string =>
  policy.replace(/^(\s*oifname "[^"]+" )ip saddr @\w+ (ip daddr .*\baccept\b.*)$/m, '$1$2');
