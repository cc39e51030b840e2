#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A rig file asked for step by step: written once and whole, or not at all.
. "$(dirname "$0")/tap.sh"
tank=$1/upthrust-tank
setup() { # name status out err answers options...
    name=$1 want=$2 out=$3 err=$4 answers=$5; shift 5
    printf "$answers" >"$work/answers"
    "$bin" setup "$@" --catalogue "$work/none" <"$work/answers" >"$work/out" 2>"$work/err"
    got=$?
    [ "$got" -eq "$want" ] && matches "$work/out" "$out" && matches "$work/err" "$err" && say yes "$name" || {
        echo "# status $got, wanted $want"; say no "$name"; }
}

# Name, port, unit, step, capacity, thermometer, water, surface, line, depth, ballast, masses.
typed='my-bucket\ntyped\n\n\n20\n\n\n0.36\n\n\n2\n\n'
setup "a scale that is read by eye" 0 "^  upthrust calibrate --rig" - "$typed" --rig "$work/typed.ini"
grep -q '^id = my-bucket$' "$work/typed.ini" && grep -q '^kind = typed$' "$work/typed.ini" && grep -q '^ballast_kg = 2$' "$work/typed.ini" &&
    grep -q '^; Lead that always hangs' "$work/typed.ini" && say yes "with what each key means" || say no "with what each key means"
expect "and calibrate takes it" 1 "" "are too few" -- "$bin" calibrate --rig "$work/typed.ini" --masses-g 500,1000,2000 --operator json --catalogue "$work/c"
cp "$work/typed.ini" "$work/before"
setup "an existing file is not changed" 2 - "already exists and is not changed" "$typed" --rig "$work/typed.ini"
cmp -s "$work/before" "$work/typed.ini" && say yes "not by a byte" || say no "not by a byte"
setup "no file, no name" 2 - "give --rig FILE" "$typed"
setup "a folder that is not there" 1 "" "cannot write" "$typed" --rig "$work/nowhere/x.ini"

setup "q stops" 1 "" "no rig file was written" 'my-bucket\ntyped\nkg\nq\n' --rig "$work/left.ini"
setup "so does the end of the input" 1 "" "no rig file was written" 'my-bucket\ntyped\n' --rig "$work/left.ini"
mkfifo "$work/held"
"$bin" setup --rig "$work/left.ini" <"$work/held" >"$work/out" 2>"$work/err" &
setup_pid=$!
exec 8>"$work/held"
printf 'my-bucket\ntyped\nkg\n0.01\n20\n' >&8
sleep 0.5
kill -TERM $setup_pid
wait $setup_pid
[ $? -eq 143 ] && say yes "and a signal" || say no "and a signal"
exec 8>&-
[ ! -e "$work/left.ini" ] && [ -z "$(ls -A "$work" | grep left)" ] && say yes "and leaves no file" || say no "and leaves no file"

setup "wrong answers are asked again; too coarse a step is said" 3 "Give one of: kg g lb N" - \
    'two words\nmy-bucket\ntyped\nstone\nkg\nfine\n0,05\n\n-3\n20\n\nbeer\nsea\nmuch\n38\n\n\n\n\n2\n0.2\n0.001\n' --rig "$work/again.ini"
for line in 'division_counts = 0.05' 'salinity_g_kg = 38' 'water = sea' 'tolerance_rel = 0.001' 'u_thermometer_k = 0.5'; do
    grep -q "^$line\$" "$work/again.ini" && say yes "taken: $line" || say no "taken: $line"
done

# A wire: the simulated tank at its pace, heard while the questions are answered.
mkfifo "$work/acts"
"$tank" --pace 10 --link "$work/tank" <"$work/acts" >"$work/tank.log" 2>&1 &
exec 9>"$work/acts"
for i in 1 2 3 4 5 6 7 8 9 10; do [ -e "$work/tank" ] && break; sleep 0.1; done
setup "a scale on a wire" 0 "Heard on .*: 3 columns" - '\n10\n\n\n\n\n\n2\n\nyes\n' --rig "$work/wired.ini" --port "$work/tank" --seconds 1
grep -q '^kind = pty$' "$work/wired.ini" && grep -q "^simulated = yes$" "$work/wired.ini" && grep -qE '^id = bench-[0-9a-f]{8}$' "$work/wired.ini" && say yes "with an id of its own" || say no "with an id of its own"
expect "and is read" 0 "lines read, . refused" - -- "$bin" listen --rig "$work/wired.ini" --seconds 1
exec 9>&-
wait
setup "no such port" 1 "/dev/nowhere" "no rig file was written" '\n10\n\n\n\n\n\n2\n\n' --rig "$work/left.ini" --port /dev/nowhere --seconds 0.2
finish
