#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The table of faults, a line each, and "N passed, N failed". Words after the build directory choose
# some; --sample draws one in so many, by a key.
#   tests/faults/faults.sh build/release [--sample 10 --key HASH] [WORD...]
out=$1
shift
# A small disk to fill wants the right to mount one.
if [ "$(id -u)" -ne 0 ] && unshare -Urm true 2>/dev/null; then own="unshare -Urm"; else own=; fi
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
$own python3 "$(dirname "$0")/faults.py" "$out/upthrust" "$out/upthrust-tank" "$work/faults" "$@"
