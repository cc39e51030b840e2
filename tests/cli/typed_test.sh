#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Readings typed by hand, and runs repeated from what they recorded.
. "$(dirname "$0")/tap.sh"
here=$(dirname "$0")
c=$work/catalogue
if python3 "$here/typed.py" "$bin" "$work/typed" >"$work/out" 2>"$work/err"; then
    say yes "a hanging scale: $(cat "$work/out")"; else say no "a hanging scale"; fi

scale=$work/scale.ini
sed "s/^id = .*/id = scale-of-the-test/" "$here/../../rigs/hanging-scale.ini" >"$scale"
sed 's/^load_unit.*/load_unit = counts/' "$scale" >"$work/counts.ini"
sed '/^division/d' "$scale" >"$work/no-division.ini"
expect "typed counts" 2 - "give load_unit" -- "$bin" calibrate --rig "$work/counts.ini" --masses-g 1,2,3 --operator json --catalogue "$c"
expect "typed without a division" 2 - "division_counts" -- "$bin" calibrate --rig "$work/no-division.ini" --masses-g 1,2,3 --operator json --catalogue "$c"
expect "nothing to listen to" 2 - "no wire to listen to" -- "$bin" listen --rig "$scale"
expect "end of input is stop" 1 "" "are too few" -- "$bin" calibrate --rig "$scale" --masses-g 500,1000,2000 --operator json --catalogue "$c"

# By a person at the keyboard: a comma, a unit, words.
printf '%s\n' '' '' five '2,00' '2.50 kg' 2 3 2 4 2 2.5 2 3 2 4 2 2.5 3 4 3 2.5 2 >"$work/typed.txt"
"$bin" calibrate --rig "$scale" --masses-g 500,1000,2000 --operator keys --catalogue "$c" <"$work/typed.txt" >"$work/out" 2>"$work/err"
if [ $? -eq 0 ] && grep -q 'not a number' "$work/err" && grep -q '^bench scale-of-the-test: shows 1.00000 kg for a kilogram' "$work/out" && grep -q 'read mass: 2.5 kg$' "$work/err"; then
    say yes "typed at the keyboard"; else say no "typed at the keyboard"; fi

expect "no such run" 2 - "no such run" -- "$bin" measure --replay 00000000 --catalogue "$c"
expect "a run's id cut short" 2 - "no such run" -- "$bin" measure --replay ab --catalogue "$c"
expect "a run outside" 2 - "no such run" -- "$bin" measure --replay ../../etc --catalogue "$c"
run=$(ls -t "$c/runs" | head -n 1)
expect "calibration once more" 0 "^bench scale-of-the-test" - -- "$bin" calibrate --replay "$run" --catalogue "$c"
expect "a calibration is no measurement" 2 - "only a run of measure" -- "$bin" measure --replay "$run" --catalogue "$c"
cp -r "$c" "$work/bent"
sed -i 's/"value":4.0/"value":"4"/g' "$work/bent/runs/$run/journal.jsonl"
expect "a journal that was changed" 2 - "does not repeat|lacks|carry" -- "$bin" calibrate --replay "$run" --catalogue "$work/bent"
echo '{"event":' >"$work/bent/runs/$run/journal.jsonl"
expect "a journal that is none" 2 - "not a JSON object" -- "$bin" calibrate --replay "$run" --catalogue "$work/bent"
sed "s/^id = .*/id = scale-of-the-test/" "$(dirname "$0")/../../rigs/hanging-scale.ini" >"$work/stairs.ini"
"$bin" calibrate --rig "$work/stairs.ini" --masses-g 500,1000,2000 --operator keys --catalogue "$work/stairs" </dev/null >"$work/out" 2>"$work/err"
grep -q "note: no staircase up and down: steps of 10 g hide hysteresis" "$work/err" && say yes "no staircase for coarse steps" || say no "no staircase for coarse steps"
finish
