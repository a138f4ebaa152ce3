import type { ImageFault } from './fault.ts';

/** A boot step that an image carries: a shell script under boot.d, run by the release's boot script by its name. */
export interface BootStep {
  readonly name: string;
  readonly script: string;
}

/**
 * Runs `edit` on a copy of the configuration at the release's first boot and makes the copy the slot's own.
 * `mark` is a text the edited file then holds, by which later boots know that it is done.
 */
const migration = (file: string, mark: string, edit: string): BootStep => ({
  name: 'before-50-migrate',
  script: `#!/bin/sh
# First boot of this release: the configuration is carried over to what this release expects.
set -e
grep -q '${mark}' /config/${file} && exit 0
rm -rf /run/migrated
cp -a /config/. /run/migrated
${edit}
slotctl adopt /run/migrated
`,
});

/** A migration as a sound release may carry it: one kernel setting that this release wants. */
export const soundMigration = migration(
  'sysctl.conf',
  'log_martians',
  "echo 'net.ipv4.conf.all.log_martians = 1' >>/run/migrated/sysctl.conf",
);

/** Boot steps that make the fault act for real in the gateway; none for faults of the archive itself. */
export function stepsOf(fault: ImageFault): readonly BootStep[] {
  switch (fault.kind) {
    case 'does-not-boot':
      return [
        {
          name: 'before-00-storage',
          script: '#!/bin/sh\necho "boot: the storage driver does not know this board" >&2\nexit 1\n',
        },
      ];
    case 'interface-down':
      return [{ name: 'after-50-link', script: `#!/bin/sh\nip link set ${fault.leg} down\n` }];
    case 'packet-loss':
      return [
        {
          // Behind every load of the rules, since a load may begin with "flush ruleset".
          name: 'rules-50-driver',
          script: `#!/bin/sh
nft -f - <<'END'
table netdev driver
delete table netdev driver
table netdev driver {
  chain inside {
    type filter hook ingress device "inside" priority 0; policy accept;
    meta protocol { ip, ip6 } numgen random mod 100 < ${fault.percent} counter drop
  }
}
END
`,
        },
      ];
    case 'rewrites-configuration':
      // The published service points to a port nobody serves, and the blocked networks are no longer blocked.
      return [
        migration(
          'nftables.conf',
          'carried over',
          `sed -i -e 's/:8443$/:8080/' -e '/@blocked/d' -e '1s/$/ (carried over)/' /run/migrated/nftables.conf`,
        ),
      ];
    case 'less-memory':
      return [
        {
          name: 'after-50-logger',
          // tail keeps what it reads until its input ends, which it does not. The boot goes on when it has all.
          script: `#!/bin/sh
(head -c 200M /dev/zero; exec sleep infinity) </dev/null | setsid tail >/dev/null 2>&1 &
for wait in $(seq 200); do
  held=$(awk '/^Pss:/ { print $2 }' "/proc/$(pgrep -nx tail)/smaps_rollup" 2>/dev/null)
  [ "\${held:-0}" -gt 200000 ] && break
  sleep 0.1
done
exit 0
`,
        },
      ];
    default:
      return [];
  }
}
