#!/bin/sh
# The first process once the gateway has its own root: takes the slot's release into memory, runs its boot
# script, marks the boot as well, and waits for the order to restart (USR1) or shut down (USR2).
set -u
slot=$1
umask 022
cat /proc/sys/kernel/random/uuid >/run/boot-id
mount --bind /run/boot-id /proc/sys/kernel/random/boot_id
mkdir /run/release
cp -a "/slots/$slot/release/." /run/release/
for command in /run/release/bin/*; do ln -s "$command" /usr/local/bin/; done
sed -n 's/^  "version": "\(.*\)",$/\1/p' /run/release/release.json >/run/booted-release

stop() {
  echo "kernel: $2"
  kill -TERM -1
  sleep 0.3
  exit "$1"
}
trap 'stop 10 restarting' USR1
trap 'stop 11 "shutting down"' USR2

echo "kernel: release $(cat /run/booted-release)"
if sh /run/release/boot; then
  # Also on a full disk: removing needs no space.
  rm -f /disk/boot/attempt
  sync /disk/boot
  echo "kernel: up"
else
  echo "kernel: the boot script of release $(cat /run/booted-release) failed; halted"
  kill -KILL -1 2>/dev/null
  : >/disk/boot/failed
fi
# Waiting this way also reaps what the gateway's processes leave behind.
while :; do
  sleep 3600 &
  wait $!
done
