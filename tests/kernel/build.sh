#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Builds the small kernel for check-kernel, once: the image lies in a cache outside the checkout,
# named after the version of its source and its options. Prints the image's path.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
version=$(dpkg-query -W -f '${Version}' linux-source-6.1)
name=$(printf '%s\n' "$version" | cat - "$here/kernel.config" | sha256sum | cut -c1-16)
cache=${XDG_CACHE_HOME:-$HOME/.cache}/upthrust
image=$cache/kernel-$name
if [ ! -s "$image" ]; then
    echo "# building the small kernel, once: about five minutes" >&2
    mkdir -p "$cache"
    work=$(mktemp -d "$cache/building-XXXXXX")
    trap 'rm -rf "$work"' EXIT
    trap 'exit 1' HUP INT TERM
    tar -C "$work" -xf /usr/src/linux-source-6.1.tar.xz
    cd "$work"/linux-source-6.1
    {
        make ARCH=x86_64 tinyconfig
        for option in $(grep -v '^#' "$here/kernel.config"); do
            scripts/config --enable "$option"
        done
        make ARCH=x86_64 olddefconfig
        make ARCH=x86_64 -j"$(nproc)" bzImage
    } >"$work/log" 2>&1 || {
        tail -n 30 "$work/log" >&2
        exit 1
    }
    # What a dependency took away again would fail much later, in a guest that says nothing.
    for option in $(grep -v '^#' "$here/kernel.config"); do
        grep -q "^CONFIG_$option=y" .config || {
            echo "the kernel's source has no option $option, or it hangs on another" >&2
            exit 1
        }
    done
    cp arch/x86/boot/bzImage "$image.new"
    mv "$image.new" "$image"
fi
echo "$image"
