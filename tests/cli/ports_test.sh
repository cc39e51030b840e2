#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Ports and their rig files: what is guessed from a stream must read that stream.
. "$(dirname "$0")/tap.sh"
tank=$1/upthrust-tank

expect "list" 0 "" - -- "$bin" ports
expect "list, json" 0 '"schema": "upthrust-ports-1"' - -- "$bin" ports --json
expect "write without listen" 2 - "need --listen" -- "$bin" ports --write "$work/x.ini"
expect "port and replay" 2 - "not both" -- "$bin" ports --listen --port /dev/null --replay /dev/null
expect "no such port" 1 "" "/dev/nowhere" -- "$bin" ports --listen --port /dev/nowhere
expect "no such recording" 2 "" "cannot read the capture" -- "$bin" ports --listen --replay "$work/none"
expect "seconds" 2 - "--seconds" -- "$bin" ports --listen --seconds 0

awk 'BEGIN { for (i = 0; i < 60; i++) printf "%s,GS, %7.1f g  \r\n", i % 9 ? "ST" : "US", 240 + i / 10 }' >"$work/scale"
awk 'BEGIN { for (i = 0; i < 60; i++) printf "%d,%d,21.5\n", 100 * i, 81234 + i % 7 }' >"$work/board"
awk 'BEGIN { for (i = 0; i < 60; i++) printf "{\"grams\": %d, \"ms\": %d}\n", 250 + i % 3, 90 * i }' >"$work/json"
for stream in scale board json; do
    expect "guessed: $stream" 0 "lines fit" - -- "$bin" ports --listen --replay "$work/$stream" --write "$work/$stream.ini"
    expect "and read: $stream" 0 "60 lines read, 0 refused" - -- "$bin" listen --rig "$work/$stream.ini" --replay "$work/$stream"
done
# A load hung and taken off is no division: the file says what is missing, and rig-check names it.
awk 'BEGIN { for (i = 0; i < 60; i++) printf "%.2f kg\r\n", (i > 20 && i < 40 ? 0.51 : 0) }' >"$work/still"
expect "a load is no division" 0 "complete what FILL IN marks" - -- "$bin" ports --listen --replay "$work/still" --write "$work/still.ini"
for line in '; division_counts = 0.01' '; capacity_kg = 20' '; ballast_kg = 2' '; depth_m = 0.45'; do
    grep -qxF "$line" "$work/still.ini" && say yes "to be filled in: $line" || say no "to be filled in: $line"
done
expect "the division is named" 2 - "still.ini.*needs .sensor. division_counts" -- "$bin" rig-check --rig "$work/still.ini" --replay "$work/still"
sed -i 's/^; division_counts/division_counts/' "$work/still.ini"
"$bin" rig-check --rig "$work/still.ini" --replay "$work/still" --catalogue "$work/none" >"$work/out" 2>"$work/err"
grep -q "^OPEN   .sensor. capacity_kg is not set" "$work/out" && grep -q "^OPEN   .tank. ballast_kg is not set" "$work/out" && say yes "so is the rest" || say no "so is the rest"
sed -i 's/^; \([a-z_]* = \)/\1/' "$work/still.ini"
"$bin" rig-check --rig "$work/still.ini" --replay "$work/still" --catalogue "$work/none" >"$work/out" 2>"$work/err"
grep -q "OPEN" "$work/out" && say no "until it is filled in" || say yes "until it is filled in"

# Each conversion printed three times, and once.
printf '%s\n' '[rig]' 'id = board' '[port]' 'kind = capture' 'path = x' '[line]' 'layout = fields' 'separator = comma' \
    'load_field = 2' 'time_field = 1' 'time_unit = ms' 'load_unit = counts' >"$work/three.ini"
for times in 3 1; do
    awk -v times=$times 'BEGIN { srand(7); for (i = 0; i < 600; i++) { if (i % times == 0) v = 81234 + int(40 * (rand() + rand() + rand()));
        printf "%d,%d,21.5\n", 100 * i, v } }' >"$work/printed-$times"
done
expect "conversions printed three times are counted once" 0 "each value comes 3 times; it is counted once" - -- "$bin" listen --rig "$work/three.ini" --replay "$work/printed-3"
expect "conversions printed once" 0 "noise of one reading" - -- "$bin" listen --rig "$work/three.ini" --replay "$work/printed-1"
if grep -q "each value comes" "$work/out"; then say no "say nothing of it"; else say yes "say nothing of it"; fi
expect "guessed, json" 0 '"fits": 60' - -- "$bin" ports --listen --replay "$work/scale" --json
expect "an existing rig file is not changed" 2 "" "not changed" -- "$bin" ports --listen --replay "$work/scale" --write "$work/scale.ini"
printf '\033[2Jred\n\033]0;x\007\n%s\n' one two three >"$work/hostile"
expect "hostile bytes are shown harmless" 2 "" "no layout fits" -- "$bin" ports --listen --replay "$work/hostile"
if grep -q "$(printf '\033')" "$work/out" "$work/err"; then say no "no escape reaches the terminal"; else say yes "no escape reaches the terminal"; fi
head -c 3000 /dev/zero | tr '\0' 1 >"$work/endless"
expect "a line without end" 2 "" "longer than 1023 bytes" -- "$bin" ports --listen --replay "$work/endless"
: >"$work/empty"
expect "an empty recording" 2 "" "no whole line" -- "$bin" ports --listen --replay "$work/empty"

# A pseudo-terminal that talks: the simulated tank at ten times its pace.
mkfifo "$work/acts"
"$tank" --pace 10 --link "$work/tank" <"$work/acts" >"$work/tank.log" 2>&1 &
exec 9>"$work/acts"
for i in 1 2 3 4 5 6 7 8 9 10; do [ -e "$work/tank" ] && break; sleep 0.1; done
expect "a port that talks" 0 "3 columns" - -- "$bin" ports --listen --port "$work/tank" --seconds 1 --write "$work/tank.ini"
expect "and is read" 0 "lines read, . refused" - -- "$bin" listen --rig "$work/tank.ini" --seconds 1
exec 9>&-
wait
finish
