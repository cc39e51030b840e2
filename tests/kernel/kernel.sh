#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Real serial ports on a machine that need not have any: a small kernel in an emulated PC, whose
# 16550 and USB cable end in kernel.py. Prints TAP and "N passed, N failed".
#   tests/kernel/kernel.sh build/release [kernel|lines...]
set -u
out=$1
shift
here=$(cd "$(dirname "$0")" && pwd)
image=$(sh "$here/build.sh") || { echo "0 passed, 1 failed"; exit 1; }
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
root=$work/root
mkdir -p "$root/bin" "$root/proc" "$root/sys" "$root/dev" "$root/tmp" "$root/etc"
for applet in $(busybox --list); do
    ln -s busybox "$root/bin/$applet"
done
cp --remove-destination "$(command -v busybox)" "$root/bin/busybox"
cp "$here/init.sh" "$root/init"
cp "$out/upthrust" "$root/bin/upthrust"
for library in $(ldd "$out/upthrust" | grep -oE '/[^ ]+'); do
    mkdir -p "$root$(dirname "$library")"
    cp -L "$library" "$root$library"
done
echo 'root:x:0:0::/:/bin/sh
diver:x:1000:1000::/:/bin/sh' >"$root/etc/passwd"
echo 'root:x:0:
dialout:x:20:
diver:x:1000:' >"$root/etc/group"
chmod 755 "$root/init" "$root"
(cd "$root" && find . | cpio --quiet -o -H newc) >"$work/initrd" 2>"$work/cpio" || {
    cat "$work/cpio"
    echo "0 passed, 1 failed"
    exit 1
}
status=0
for part in ${*:-kernel lines power}; do
    python3 -B "$here/$part.py" "$image" "$work/initrd" "$work" >"$work/$part.tap" || status=1
    cat "$work/$part.tap"
done
cat "$work"/*.tap >"$work/tap"
# A case that was left out counts as failed: there is nothing here that a machine could lack.
grep -i '# skip' "$work/tap" | sed 's/^/left out: /'
sed -i -E 's/^ok (.*# *[sS][kK][iI][pP])/not ok \1/' "$work/tap"
ok=$(grep -c '^ok ' "$work/tap")
bad=$(grep -c '^not ok ' "$work/tap")
[ "$status" -eq 0 ] || [ "$bad" -gt 0 ] || bad=1
echo "$ok passed, $bad failed"
[ "$bad" -eq 0 ]
