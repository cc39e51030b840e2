#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Builds the program against libgpiod 2 of Debian 13, which is another interface than the 1.6 of
# Debian 12: fetches its package with apt, unpacks it under build/ and installs nothing.
#   .ci/gpiod2.sh [parts of the emulated machine to run, such as lines]
set -eu
cd "$(dirname "$0")/.."
if pkg-config --atleast-version=2 libgpiod; then
    echo "# libgpiod $(pkg-config --modversion libgpiod) is installed: every build here tests it"
    exit 0
fi
here=$(pwd)/build/gpiod2-package
lib=$here/root/usr/lib/$(gcc -print-multiarch)
if [ ! -e "$lib/pkgconfig/libgpiod.pc" ]; then
    rm -rf "$here"
    mkdir -p "$here/lists/partial" "$here/cache/archives/partial"
    # The archive that this machine has its own packages from.
    archive=$(apt-get indextargets --format '$(ORIGIN) $(SUITE) $(REPO_URI)' 'Component: main' |
        grep -E '^Debian' | grep -v security | sed -n 's/.* //p' | head -n 1)
    echo "deb [signed-by=/usr/share/keyrings/debian-archive-keyring.gpg] $archive trixie main" \
        >"$here/sources.list"
    apt() {
        apt-get -q -o Dir::Etc::sourcelist="$here/sources.list" -o Dir::Etc::sourceparts=/dev/null \
            -o Dir::State::lists="$here/lists" -o Dir::Cache="$here/cache" \
            -o APT::Sandbox::User="$(id -un)" "$@"
    }
    (cd "$here" && apt update && apt download libgpiod3 libgpiod-dev) >"$here/log" 2>&1 || {
        tail -n 5 "$here/log" >&2
        exit 1
    }
    for package in "$here"/*.deb; do
        dpkg -x "$package" "$here/root"
    done
    sed -i "s,^prefix=.*,prefix=$here/root/usr," "$lib/pkgconfig/libgpiod.pc"
fi
PKG_CONFIG_PATH=$lib/pkgconfig make -s VARIANT=gpiod2 STRICT=1 \
    LDFLAGS="-pie -Wl,-z,relro,-z,now -Wl,-rpath,$lib" build/gpiod2/upthrust
[ $# -eq 0 ] || sh tests/kernel/kernel.sh build/gpiod2 "$@"
