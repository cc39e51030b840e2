#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The table of faults, a line each, and the sweep of single calls that fail, a line a command and kind of call;
# then "N passed, N failed" of both. Words after the build directory choose some; --sample draws one in
# so many, by a key.
#   tests/faults/faults.sh build/release [--sample 10 --key HASH] [WORD...]
out=$1
shift
here=$(dirname "$0")
# A small disk to fill wants the right to mount one.
if [ "$(id -u)" -ne 0 ] && unshare -Urm true 2>/dev/null; then own="unshare -Urm"; else own=; fi
work=$(mktemp -d) || exit 1
# Thousands of small catalogues: in memory where they can.
fast=$(mktemp -d -p /dev/shm 2>/dev/null) || fast=$work
trap 'rm -rf "$work" "$fast"' EXIT
export XDG_STATE_HOME="$work/state" # what is noted of these catalogues goes with them
{
    $own python3 "$here/faults.py" "$out/upthrust" "$out/upthrust-tank" "$work/faults" "$@"
    python3 "$here/sweep.py" "$out/upthrust" "$out/upthrust-tank" "$out/tests/faults/fail_nth.so" "$fast/sweep" "$@"
} | tee "$work/log" | grep --line-buffered -vE '^[0-9]+ passed, [0-9]+ failed$'
awk '/^[0-9]+ passed, [0-9]+ failed$/ {passed += $1; failed += $3; parts++}
    END {failed += 2 - parts; print passed + 0 " passed, " failed + 0 " failed"; exit failed > 0}' "$work/log"
