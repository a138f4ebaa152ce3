#!/bin/sh
# First process of a booting gateway, in fresh mount, process, host-name and network namespaces: gives the
# gateway a root of its own (programs read-only from the machine; /etc, /run, /var private; the disk at /disk)
# and goes on as /rom/kernel.sh. Usage: init.sh DISK ROOT SLOT
set -eu
disk=$1
root=$2
slot=$3
mkdir -p "$root"
mount -t tmpfs -o size=64m,mode=755 gateway "$root"
cd "$root"
mkdir -p usr proc sys dev etc run tmp var/log var/lib/snmp var/empty root disk rom old
for top in bin sbin lib lib32 lib64 libx32; do
  if [ -L "/$top" ]; then
    ln -s "$(readlink "/$top")" "$top"
  elif [ -d "/$top" ]; then
    mkdir "$top"
    mount --bind "/$top" "$top"
    mount -o remount,bind,ro "$top"
  fi
done
mount --bind /usr usr
mount -o remount,bind,ro usr
# The release's own commands stand where a login looks first.
mount -t tmpfs -o size=1m commands usr/local/bin
mount --bind "$disk" disk
mkdir -p disk/incoming disk/snmp
mount --bind disk/snmp var/lib/snmp
ln -s disk/slots slots
ln -s disk/incoming incoming
ln -s "disk/slots/$slot/config" config

mount -t proc proc proc
mount -t sysfs -o ro sysfs sys
# Kernel settings of the whole machine stay out of reach; those of this network namespace do not.
mount --bind proc/sys/net proc/sys/net
mount --rbind proc/sys proc/sys
mount -o remount,bind,ro proc/sys
mkdir -p dev/pts dev/shm
for node in null zero full random urandom tty; do
  : >"dev/$node"
  mount --bind "/dev/$node" "dev/$node"
done
mount -t devpts -o newinstance,ptmxmode=0666,mode=620 devpts dev/pts
ln -s pts/ptmx dev/ptmx
ln -s /proc/self/fd dev/fd
chmod 1777 tmp dev/shm

cp -a /etc/ld.so.cache etc/ 2>/dev/null || true
for known in services protocols localtime; do cp -L "/etc/$known" etc/ 2>/dev/null || true; done
if [ -d /etc/alternatives ]; then
  mkdir etc/alternatives
  mount --bind /etc/alternatives etc/alternatives
fi
mkdir -p etc/iproute2 etc/ssl
cp -L /etc/iproute2/* etc/iproute2/ 2>/dev/null || true
printf 'passwd: files\ngroup: files\nhosts: files\nservices: files\nprotocols: files\n' >etc/nsswitch.conf
printf 'root:x:0:\ntty:x:5:\nnogroup:x:65534:\n' >etc/group
cp "$(dirname "$0")/kernel.sh" rom/kernel.sh
echo "$slot" >run/booted-slot

pivot_root . old
cd /
umount -l /old
rmdir /old
export PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root
exec setpriv --bounding-set -sys_module,-sys_time,-sys_rawio,-sys_boot \
  --inh-caps -sys_module,-sys_time,-sys_rawio,-sys_boot sh /rom/kernel.sh "$slot"
