#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Installs the Debian packages that building (build), testing (check), all that must hold (ci), the
# small machine (kernel), the board's firmware (board), writing it (flash) or its tests in a simulator
# (firmware) lack.
set -eu
build="gcc make pkg-config libc6-dev libserialport-dev libgpiod-dev libsqlite3-dev libgsl-dev
libjansson-dev libinih-dev uuid-dev nettle-dev libncurses-dev libicu-dev libpango1.0-dev
libqrencode-dev fonts-dejavu-core gnuplot-nox"
check="libcmocka-dev sqlite3 python3 python3-gsw python3-jsonschema python3-cryptography groff-base gettext
poppler-utils zbar-tools"
browser="chromium chromium-driver python3-selenium"
lint="clang libclang-rt-14-dev clang-format cppcheck"
kernel="qemu-system-x86 linux-source-6.1 build-essential flex bison bc libelf-dev libssl-dev cpio
xz-utils busybox-static e2fsprogs python3"
board="gcc-avr avr-libc binutils-avr make"
firmware="$build $board libsimavr-dev libelf-dev avrdude python3"
case "${1:-}" in
build) wanted=$build ;;
check) wanted="$build $check" ;;
fuzz) wanted="$build clang libclang-rt-14-dev" ;;
ci) wanted="$build $check $browser $lint" ;;
kernel) wanted="$build $kernel" ;;
board) wanted=$board ;;
flash) wanted="$board avrdude" ;;
firmware) wanted=$firmware ;;
*) echo "usage: packages.sh build|check|fuzz|ci|kernel|board|flash|firmware" >&2; exit 2 ;;
esac
wanted=$(echo $wanted)
if ! command -v dpkg-query >/dev/null 2>&1; then
    # Not Debian: the compiler will tell what is missing; say what to look for.
    if command -v pkg-config >/dev/null 2>&1 &&
        pkg-config --exists libserialport libgpiod sqlite3 gsl jansson inih uuid hogweed nettle gmp ncursesw icu-i18n pangocairo libqrencode; then exit 0; fi
    echo "This is not Debian. Install what these Debian packages hold, then run make again:" >&2
    echo "  $wanted" >&2
    exit 1
fi
missing=
for package in $wanted; do
    state=$(dpkg-query -W -f '${db:Status-Abbrev}' "$package" 2>/dev/null || true)
    case $state in ii*) ;; *) missing="$missing $package" ;; esac
done
[ -n "$missing" ] || exit 0
if [ "$(id -u)" -eq 0 ]; then as_root=
elif command -v sudo >/dev/null 2>&1; then as_root=sudo
else
    echo "Packages are missing and neither root nor sudo is at hand. As root, run:" >&2
    echo "  apt-get install$missing" >&2
    exit 1
fi
echo "installing:$missing" >&2
log=$(mktemp)
if ! { $as_root apt-get update -q &&
    DEBIAN_FRONTEND=noninteractive $as_root apt-get install -y -q --no-install-recommends $missing; } \
    >"$log" 2>&1; then
    tail -n 15 "$log" >&2
    rm -f "$log"
    echo "apt-get could not install:$missing; see above" >&2
    exit 1
fi
rm -f "$log"
