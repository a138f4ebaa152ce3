#!/bin/sh
# The board of one lab gateway: its power, its wiring and its boot loader. It runs outside the gateway for as
# long as the power is on; when it dies, the kernel kills everything inside with it (that is the power loss).
# Usage: board.sh FOLDER   (FOLDER holds board.env, the disk, and receives console.log and the boot count)
set -u
cd "$1" || exit 1
. ./board.env

# Writes a file so that a kill leaves the old or the new text, never half of one.
write() { printf '%s\n' "$2" >"$1.new" && sync "$1.new" && mv "$1.new" "$1" && sync "$(dirname "$1")"; }
other() { if [ "$1" = 1 ]; then echo 2; else echo 1; fi; }
bootable() { [ -f "disk/slots/$1/release/boot" ]; }

# The boot loader: the slot to boot next, or the other one when the last boot from it never came up well.
choose_slot() {
  slot=$(cat disk/boot/next 2>/dev/null)
  case $slot in 1 | 2) ;; *) slot=1 ;; esac
  attempt=$(head -n 1 disk/boot/attempt 2>/dev/null)
  if [ "$attempt" = "$slot" ] && bootable "$(other "$slot")"; then
    echo "loader: slot $slot did not come up well, booting slot $(other "$slot")"
    slot=$(other "$slot")
  elif ! bootable "$slot"; then
    echo "loader: slot $slot holds nothing that boots, booting slot $(other "$slot")"
    slot=$(other "$slot")
  fi
  # On a full disk the marks cannot be written; the gateway must boot all the same.
  write disk/boot/next "$slot"
  write disk/boot/attempt "$slot"
}

# Fresh legs for this boot: the far ends stand in the hosts' namespaces and in the workbench's own.
wire() {
  ip link del "$MANAGEMENT" 2>/dev/null
  ip netns del "$NETNS" 2>/dev/null
  ip netns add "$NETNS" || return 1
  ip link add "$MANAGEMENT" type veth peer name mgmt address "$MAC:00" netns "$NETNS" || return 1
  ip addr add "$WORKBENCH/30" dev "$MANAGEMENT" && ip link set "$MANAGEMENT" up
  wire_leg outside 01 "$OUTSIDE" && wire_leg inside 02 "$INSIDE" && wire_leg dmz 03 "$DMZ"
}

# wire_leg LEG NUMBER "HOST4/LEN GATEWAY4 HOST6/LEN GATEWAY6"
wire_leg() {
  far="$NETNS-$1"
  leg=$1
  mac="$MAC:$2"
  set -- $3
  ip -n "$far" link del leg 2>/dev/null
  ip -n "$far" link add leg type veth peer name "$leg" address "$mac" netns "$NETNS" || return 1
  ip netns exec "$far" sysctl -qw net.ipv6.conf.leg.accept_ra=0 \
    net.ipv6.conf.leg.router_solicitations=0 net.ipv6.conf.leg.accept_dad=0
  ip -n "$far" addr add "$1" dev leg
  ip -n "$far" addr add "$3" dev leg nodad
  ip -n "$far" link set leg up
  ip -n "$far" route replace default via "$2" dev leg
  ip -n "$far" -6 route replace default via "$4" dev leg
}

count_boot() {
  boots=$(($(cat boots 2>/dev/null || echo 0) + 1))
  write boots "$boots"
}

# The boot watchdog: a boot that is not well in time is ended, and the loader chooses again.
watchdog() {
  sleep "$WATCHDOG"
  [ -e disk/boot/attempt ] && [ "$(cat boots)" = "$1" ] || return 0
  echo "watchdog: not well within $WATCHDOG seconds"
  : >watchdog-bit
  kill -KILL "$(pgrep -P "$2")"
}

exec >>console.log 2>&1 </dev/null
echo "$$" >board.pid
# Uptime inside counts from the boot, where the kernel has time namespaces.
while :; do
  choose_slot
  wire || { echo "board: the legs could not be wired"; exit 1; }
  count_boot
  echo "loader: boot $boots from slot $slot"
  rm -f watchdog-bit disk/boot/failed
  clock=
  unshare --time true 2>/dev/null && clock="--time --boottime=-$(cut -d. -f1 /proc/uptime)"
  setpriv --pdeathsig KILL ip netns exec "$NETNS" \
    unshare --mount --uts --ipc --pid $clock --fork --kill-child \
    sh "$DEVICE/init.sh" "$PWD/disk" "$PWD/root" "$slot" &
  inside=$!
  watching=
  if [ "$WATCHDOG" -gt 0 ]; then
    watchdog "$boots" "$inside" &
    watching=$!
  fi
  wait "$inside"
  ended=$?
  [ -z "$watching" ] || kill "$watching" 2>/dev/null
  [ "$ended" = 10 ] && continue
  [ -e watchdog-bit ] && continue
  [ "$ended" = 11 ] && echo "board: shut down" || echo "board: the gateway stopped (status $ended)"
  break
done
ip link del "$MANAGEMENT"
ip netns del "$NETNS"
rm -f board.pid
