/**
 * What runs inside the new namespaces. Arguments: the network namespace of the workbench, an empty folder to build a
 * root in, the way to load (`text` or `json`), the files to load in order, `--`, the interfaces to stand in for.
 * Standard input is a tar file of the capture. The packet filter program runs in that root, so that it sees the capture's
 * own files and none of this machine's configuration. All of it is in memory and gone with the namespaces.
 *
 * Ends with 90 when it is not in a namespace of its own, 91 when the root could not be made, 92 when an interface could
 * not, 93 when the ruleset was refused; else it prints what then stands in the kernel, as JSON.
 */
export const LOAD_SCRIPT = `
here=$(readlink /proc/self/ns/net)
if [ -z "$here" ] || [ "$here" = "$1" ]; then exit 90; fi
root=$2 way=$3
shift 3
prepare() {
  mount -t tmpfs -o mode=700 tmpfs "$root" && mkdir "$root/etc" || return 1
  for name in services protocols passwd group nsswitch.conf iproute2; do
    if [ -e "/etc/$name" ]; then cp -R "/etc/$name" "$root/etc/" || return 1; fi
  done
  tar -x --no-same-owner -f - -C "$root" || return 1
  for name in usr bin sbin lib lib32 lib64 libx32; do
    if [ -L "/$name" ] && [ ! -e "$root/$name" ]; then
      cp -P "/$name" "$root/" || return 1
    elif [ -d "/$name" ]; then
      mkdir -p "$root/$name" && mount --rbind "/$name" "$root/$name" || return 1
    fi
  done
}
prepare || exit 91
first=$1
script="$root/.rehearsal"
: >"$script" || exit 91
while [ "$1" != -- ]; do
  printf 'include "/%s"\\n' "$1" >>"$script"
  shift
done
shift
ip link set lo up || exit 92
number=0
for name; do
  number=$((number + 1))
  ip link add name "$name" type dummy 2>/dev/null || ip link add name "$name" type veth peer name "standin$number" || exit 92
done
if [ "$way" = json ]; then
  chroot "$root" /usr/bin/env PATH=/usr/sbin:/sbin:/usr/bin:/bin nft -j -f "/$first" || exit 93
else
  chroot "$root" /usr/bin/env PATH=/usr/sbin:/sbin:/usr/bin:/bin nft -f /.rehearsal || exit 93
fi
chroot "$root" /usr/bin/env PATH=/usr/sbin:/sbin:/usr/bin:/bin nft -j list ruleset || exit 91
`;
