/** A sound handbook of a Linux gateway with two slots, for the tests of this room. */
export const handbookText = String.raw`handbook: 1
name: Linux gateway with two boot slots
models: [Groyne 40]
slots: 2
install: { writes: running }
limits:
  command: 20s
  transfer: 10m
  install: 5m
  boot: 1m 30s
session: { kind: exec }
actions:
  identify:
    steps:
      - run: slotctl identity
        read:
          model: '^model=(.+)$'
          serial: '^serial=(.+)$'
          hostname: '^hostname=(.+)$'
          release: '^release=(.+)$'
          boot: '^boot=(.+)$'
          uptime: '^uptime=(.+)$'
  slots:
    steps:
      - run: slotctl list
        each: '^slot (?<id>\S+) release=(?<release>\S+) configuration=(?<configuration>\S+)(?<flags>.*)$'
        running: flags~running
        next: flags~next
  capture:
    running: { folder: /config }
    spare: { folder: '/slots/{spare}/config' }
  apply:
    steps:
      - put: /incoming/config
      - run: slotctl load /incoming/config
  transfer:
    by: sftp
    to: /incoming/{name}
    digest: { run: 'sha256sum {path}', read: '^([0-9a-f]{64}) ' }
  install: { steps: [{ run: 'slotctl install {path}', timeout: 5m }] }
  keep: { steps: [{ run: slotctl keep }] }
  recover: { steps: [{ run: slotctl recover }] }
  boot: { steps: [{ run: 'slotctl boot {slot}' }] }
  restart: { steps: [{ run: slotctl restart }] }
  shutdown: { steps: [{ run: slotctl shutdown }] }
  armReturn: { steps: [{ run: 'slotctl return-in {seconds}' }] }
  disarmReturn: { steps: [{ run: slotctl return-cancel }] }
  clean: { steps: [{ run: rm -f /incoming/* }] }
  report:
    - { run: ip -s addr, save: addresses.txt }
  reading:
    snmp: true
    fields:
      - { run: slotctl health, read: { sessions: '^sessions=(\d+)$' } }
    loss:
      - target: inside-host
        run: ping -n -q -c 20 {own.inside-host}
        read: { sent: '(\d+) packets transmitted', received: '(\d+) received' }
restart: { afterApply: ['*.conf'] }
`;
