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

# Each mass reads 100 g too heavy: asked about once all are read, weighed again, then accepted. The replay does the same.
line="2 2.6 2 3.1 2 4.1 2 2.6 2 3.1 2 4.1 2"
printf '%s\n' '' '' $line '' $line accept >"$work/typed.txt"
"$bin" calibrate --rig "$scale" --masses-g 500,1000,2000 --operator keys --json --catalogue "$work/offset" <"$work/typed.txt" >"$work/accepted" 2>"$work/err"
[ "$(grep -c '^>> Each mass reads 100.0 g too heavy' "$work/err")" -eq 2 ] && say yes "the line is asked about, and once more" || say no "the line is asked about, and once more"
expect "a line that was accepted, once more" 0 '"offset_taken": 1.0' - -- "$bin" calibrate --replay "$(ls "$work/offset/runs")" --json --catalogue "$work/offset"
grep -v '"calibration_id"' "$work/accepted" >"$work/stored"
cmp -s "$work/stored" "$work/out" && say yes "to the last digit" || say no "to the last digit"
sed -i 's/"answer":"accept"/"answer":"done"/' "$work/offset/runs/"*/journal.jsonl
expect "one that was not accepted is no calibration" 1 - "0 loadings are too few" -- "$bin" calibrate --replay "$(ls "$work/offset/runs")" --json --catalogue "$work/offset"
cp -r "$c" "$work/bent"
sed -i 's/"value":4.0/"value":"4"/g' "$work/bent/runs/$run/journal.jsonl"
expect "a journal that was changed" 2 - "does not repeat|lacks|carry" -- "$bin" calibrate --replay "$run" --catalogue "$work/bent"
echo '{"event":' >"$work/bent/runs/$run/journal.jsonl"
expect "a journal that is none" 2 - "not a JSON object" -- "$bin" calibrate --replay "$run" --catalogue "$work/bent"
sed "s/^id = .*/id = scale-of-the-test/" "$(dirname "$0")/../../rigs/hanging-scale.ini" >"$work/stairs.ini"
"$bin" calibrate --rig "$work/stairs.ini" --masses-g 500,1000,2000 --operator keys --catalogue "$work/stairs" </dev/null >"$work/out" 2>"$work/err"
grep -q "note: masses are not added up and taken off at the end: in steps of 10 g the scale" "$work/err" && say yes "no staircase for coarse steps" || say no "no staircase for coarse steps"

# In pounds, ounces and degrees F: what is asked, shown and refused; the scale's own kilograms stay.
"$bin" item add --name Slate --kind other --holds-gas no --catalogue "$c" >"$work/out"
printf '%s\n' 0.18 '' -5 '15 C' 2 3.25 2 2.36 2.37 2 2.36 2.37 2 >"$work/typed.txt"
expect "a session in imperial units" 0 "tank +-[0-9.]+ oz [+]0.[0-9]+ oz -0.[0-9]+ oz" "" -- sh -c '"$0" measure --rig "$1" --item Slate --trials 2 --units imperial --operator keys --catalogue "$2" <"$3"' "$bin" "$scale" "$c" "$work/typed.txt"
for line in "\?\? water at -5.0 F: give 32.0 F to 104.0 F" "Type what it shows \(degrees F\)" "read air: 3.25 kg" "trial 1 stored: net -13.05 oz" \
    "this takes about [0-9]+ min with 2 trials; each one more or fewer \(--trials\) is about 3 min"; do
    grep -qE "$line" "$work/err" && say yes "shown: $line" || say no "shown: $line"
done
grep -qE "tank .*, at 59.0 F" "$work/out" && say yes "15 C typed are 59 F" || say no "15 C typed are 59 F"
# 370 g, of which the last shake freed 10 g: by the formula of up_trapped_air_bound, with a share of 0.2, up to 40 g.
tr -s '\n ' ' ' <"$work/out" | grep -qE "the trials' mean is -13.05 oz, the result -13.75 oz: half the lift of the air that may still be in it, up to 1.41 oz" && say yes "why the trials' ounces became others" || say no "why the trials' ounces became others"
grep -qE '(^| )-?[0-9.]+ g( |$)' "$work/err" && say no "no gram is left" || say yes "no gram is left"
"$bin" explain Slate --catalogue "$c" >"$work/out"
grep -q counts "$work/out" && say no "kilograms are never called counts" || say yes "kilograms are never called counts"
"$bin" explain Slate --json --catalogue "$c" >"$work/out"
grep -qE '"trials_mean_g": -3(70\.0|69\.9999)' "$work/out" && grep -qE '"air_correction_g": -(20\.0|19\.9999)' "$work/out" && say yes "JSON stays SI" || say no "JSON stays SI"
"$bin" calibration show --catalogue "$c" >"$work/out"
grep -qE 'F -' "$work/out" && say no "no F below zero" || say yes "no F below zero"
finish
