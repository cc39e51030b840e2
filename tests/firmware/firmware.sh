#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The board's firmware in a simulator. Prints TAP, a part at a time, and "N passed, N failed".
#   tests/firmware/firmware.sh build/release build/firmware [CONVERSIONS [mutants]]
set -u
out=$1 images=$2 conversions=${3:-100000} wrong_edits=${4:-}
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
part() { # name command...
    name=$1
    shift
    began=$(date +%s)
    "$@" >"$work/$name.tap" 2>&1 </dev/null || {
        grep -q '^not ok' "$work/$name.tap" || echo "not ok - $name ended badly" >>"$work/$name.tap"
    }
    echo "# $name: $(($(date +%s) - began)) s" >>"$work/$name.tap"
}
check() { part "$1" "$out/tests/firmware/check" "$images/atmega328p.elf" "$images/unguarded.elf" "$conversions" "$@"; }
same_from_another_folder() {
    copy=$work/elsewhere/a/longer/name
    mkdir -p "$copy" && cp -r "$here/../../Makefile" "$here/../../rigs" "$copy"
    for board in atmega328p atmega2560; do
        if make -s -C "$copy" "build/firmware/$board.hex" && cmp "$images/$board.hex" "$copy/build/firmware/$board.hex"; then
            echo "ok - the image for the $board is the same, byte by byte, from another folder"
        else
            echo "not ok - the image for the $board is another from another folder"
        fi
    done
}
check guard &
part reproducible same_from_another_folder
part flash python3 -B "$here/flash_check.py" "$images/atmega328p.hex" &
{
    for name in boots commands gains without-guard thermometer thermometer-faults line-noise converter-noise storm \
        converter-faults resets; do
        check $name
    done
    for name in recognises checks-the-rig weighs bears; do
        part "program-$name" python3 -B "$here/session_check.py" "$out" "$images/atmega328p.elf" "$name"
    done
} &
[ -z "$wrong_edits" ] || part "mutants" python3 -B "$here/mutants.py" "$out"
wait
for tap in "$work"/*.tap; do
    sed "s/^\(\(not \)\?ok\) [0-9]* - /\1 - $(basename "$tap" .tap): /" "$tap"
done >"$work/all"
cat "$work/all"
ok=$(grep -c '^ok ' "$work/all")
bad=$(grep -c '^not ok ' "$work/all")
[ "$ok" -gt 0 ] || bad=1
echo "$ok passed, $bad failed"
[ "$bad" -eq 0 ]
