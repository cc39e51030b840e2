#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A rig file asked for step by step: written once and whole, or not at all.
. "$(dirname "$0")/tap.sh"
tank=$1/upthrust-tank
setup() { # name status out err answers options...
    name=$1 want=$2 out=$3 err=$4 answers=$5; shift 5
    printf "$answers\n" >"$work/answers" # at the end: Enter writes the file
    "$bin" setup "$@" --catalogue "$work/none" <"$work/answers" >"$work/out" 2>"$work/err"
    got=$?
    [ "$got" -eq "$want" ] && matches "$work/out" "$out" && matches "$work/err" "$err" && say yes "$name" || {
        echo "# status $got, wanted $want"; say no "$name"; }
}

# Name, port, unit, step, capacity, thermometer, water, surface, line, height of the item, depth of the
# water, depth of the item, ballast, masses, and what they are known to.
typed='my-bucket\ntyped\n\n\n20\n\n\n0.36\n\n0.5\n0.9\n\n2\n\n\n'
setup "a scale that is read by eye" 0 "^  $bin calibrate --rig" - "$typed" --rig "$work/typed.ini"
setup "a name with a blank is quoted" 0 "calibrate --rig '$work/a bucket.ini' --masses-g" - "$typed" --rig "$work/a bucket.ini"
grep -q '^id = my-bucket$' "$work/typed.ini" && grep -q '^kind = typed$' "$work/typed.ini" && grep -q '^ballast_kg = 2$' "$work/typed.ini" &&
    grep -q '^; Lead that always hangs' "$work/typed.ini" && say yes "with what each key means" || say no "with what each key means"
expect "and calibrate takes it" 1 "" "are too few" -- "$bin" calibrate --rig "$work/typed.ini" --masses-g 500,1000,2000 --operator json --catalogue "$work/c"
cp "$work/typed.ini" "$work/before"
setup "an existing file is not changed" 2 - "already exists and is not changed" "$typed" --rig "$work/typed.ini"
cmp -s "$work/before" "$work/typed.ini" && say yes "not by a byte" || say no "not by a byte"
setup "no file, no name" 2 - "give --rig FILE" "$typed"
setup "a folder that is not there" 1 "" "cannot write" "$typed" --rig "$work/nowhere/x.ini"

# Back by one question, twice, from the capacity to the port; a number changes one at the end, with what is checked with it.
setup "back, and an answer changed at the end" 0 "Your answers, not yet written to $work/back.ini" - \
    'my-bucket\nttyped\ntyped\nkg\n0.02\nback\nback\ng\n0.005\n20\n\n\n0.36\n\n0.5\n0.9\n\n2\n\n\n99\n5\n30\n10\n0.4\n0.8\n\n8\nnone\n\n' --rig "$work/back.ini"
grep -q "ttyped is not there: plug the scale in, or name its port" "$work/out" && grep -q "Give a number from 1 to 15, or press Enter" "$work/out" &&
    grep -q "^   4  Smallest step, kg  *0.005$" "$work/out" && grep -q "^   9  Thickness of the line, mm  *(left out)$" "$work/out" && say yes "they are listed" || say no "they are listed"
grep -q "^Water surface, m2 (length x width) (none: leave it out) \[Enter: 0.36\]: " "$work/out" && ! grep -q area_m2 "$work/back.ini" && say yes "none leaves one out" || say no "none leaves one out"
for line in 'load_unit = g' 'division_counts = 0.005' 'capacity_kg = 30' 'depth_m = 0.30' '; The largest item is 0.40 m high as it hangs and needs 0.70 m of water (a hand'"'"'s breadth over it, under it and for the ballast); there are 0.80 m.'; do
    [ "$(grep -cxF "$line" "$work/back.ini")" = 1 ] && say yes "written once: $line" || say no "written once: $line"
done
setup "back at the first question stays there; q at the last writes nothing" 1 "This is the first question" "no rig file was written" "back\n${typed}q\n" --rig "$work/left.ini"
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

# A step typed in grams, as of a scale of 20 kg: both are asked again. A capacity has an example.
setup "a step in grams is noticed" 0 "A step of 10 kg on a scale of 20 kg. Both are asked for in kg" - \
    'my-bucket\ntyped\n\n10\n20\n0.01\n20\n\n\n0.36\n\n0.5\n0.9\n\n2\n\n\n' --rig "$work/grams.ini"
grep -q '^division_counts = 0.01$' "$work/grams.ini" && grep -q '^Capacity of the scale, kg (such as 20): ' "$work/out" && say yes "and mended" || say no "and mended"

# Answers with a unit of their own; the file stays metric. With --units imperial, what they are is shown beside them.
setup "an answer may have a unit of its own" 0 "18 in is 0.4572 m$" - \
    'my-bucket\ntyped\n\n10 g\n44 lb\n\n\n4 ft2\n0.02in\n18 in\n3 ft\n\n5 lb\n\n\n' --rig "$work/inches.ini"
for line in 'division_counts = 0.01' 'capacity_kg = 19.9580643' 'area_m2 = 0.37161216' 'line_diameter_mm = 0.508' 'ballast_kg = 2.26796185'; do
    grep -qx "$line" "$work/inches.ini" && say yes "taken: $line" || say no "taken: $line"
done
setup "of another kind it is asked again" 0 "Give a number from 0.02 to 5, such as 0.7" - \
    'my-bucket\ntyped\n\n\n20\n\n\n\n\n5 lb\n0.5\n0.9\n\n2 ft\n2\n\n\n' --rig "$work/kinds.ini" --units imperial
for shown in 'To compare: 20 kg is 44 lb 1.48 oz\.' 'To compare: 0.35 m is 1.1 ft\.' '   5  Capacity of the scale, kg +20  \(44 lb 1.48 oz\)' ' Ballast, dry, kg +2  \(4 lb 6.55 oz\)'; do
    grep -qE "^$shown$|^ +[0-9]+ $shown$" "$work/out" && say yes "shown: $shown" || say no "shown: $shown"
done
grep -q '^ballast_kg = 2$' "$work/kinds.ini" && [ "$(awk 'length > 80 && !/[])]: /' "$work/out" | grep -vc "$work")" = 0 ] && say yes "the file is metric" || say no "the file is metric"
setup "units of no such name" 2 - "give metric or imperial" "$typed" --rig "$work/left.ini" --units stone

setup "wrong answers are asked again; too coarse a step is said" 3 "Give one of: kg g lb N" - \
    'two words\nmy-bucket\ntyped\nstone\nkg\nfine\n0,05\n\n-3\n20\n\nbeer\nsea\nmuch\n38\n\n\n\n\n1\n\n2\nM4\nshare\n0.2\n0.001\n' --rig "$work/again.ini"
for line in 'division_counts = 0.05' 'salinity_g_kg = 38' 'water = sea' 'tolerance_rel = 0.001' 'u_thermometer_k = 0.289' 'u_salinity_g_kg = 0.577'; do # over sqrt(3): GUM 4.3.7
    grep -q "^$line\$" "$work/again.ini" && say yes "taken: $line" || say no "taken: $line"
done

sh -c "printf 'b\ntyped\nkg\n20\n' | '$bin' setup --rig '$work/x.ini'" >"$work/out" 2>"$work/err"
matches "$work/out" "Give a number from 1e-06 to 10, such as 0.01$" && say yes "an example in its range" || say no "an example in its range"
grep -q 'Given as +-0.5; the standard uncertainty is that over sqrt(3) (GUM 4.3.7)' "$work/again.ini" && say yes "what was told is kept" || say no "what was told is kept"

# Deep enough: asked again with the depth that is needed, which the file keeps; the item hangs in the middle.
setup "a bucket that is too shallow" 0 "Too shallow: it needs 1.00 m of water" - 'my-bucket\ntyped\n\n\n20\n\n\n\n\n\n0.35\n0.4\n0,7\n\n2\n\n\n' --rig "$work/deep.ini"
grep -q '^; The largest item is 0.40 m high as it hangs and needs 0.70 m of water' "$work/deep.ini" && grep -q '^depth_m = 0.30$' "$work/deep.ini" &&
    say yes "its depth is kept" || say no "its depth is kept"

setup "a set of a class" 0 "" - 'my-bucket\ntyped\n\n\n20\n\n\n\n\n0.5\n0.9\n\n2\nM1\n' --rig "$work/class.ini"
grep -q '^class = M1$' "$work/class.ini" && ! grep -q tolerance_rel "$work/class.ini" && say yes "instead of a share" || say no "instead of a share"
expect "refuses what no such set has" 2 - "not in the table of class M1" -- "$bin" calibrate --rig "$work/class.ini" --masses-g 500.5,1000,2000 --operator json --catalogue "$work/c"

# Bottles on a scale of 1 g steps that shows 501 g for 500 g +- 0.05 %, the lightest 1012 g. By hand: check
# (1 + 0.5) / 500, its mass 0.0005, class III in service 2 / 1012, air 0.1 (1 / 900 - 1 / 8000):
# 0.003 + 0.0005 + 0.0019763 + 0.0000986 = 0.0055749, rounded up. A light one on 10 g steps is refused.
bottles='my-bucket\ntyped\n\n\n20\n\n\n\n\n0.5\n0.9\n\n2\nbottles\n10\n500\n\n500\n100\n\n500\n\n501\n1012\n'
setup "bottles of water" 0 "would be known to 11 % only" - "$bottles" --rig "$work/bottles.ini"
grep -q 'known to 0.0056 of their mass' "$work/out" && grep -q 'masses-g 1012,1985,3020   (what the scale showed' "$work/out" && say yes "with their width" || say no "with their width"
for line in 'tolerance_rel = 0.0056' '; Closed bottles of water, weighed whole in air on a scale of 1 g steps, the lightest 1012 g; it showed 501 g for 500 g.' \
    '; Give --masses-g what the scale shows, not litres: it is the conventional mass (OIML D 28).'; do
    grep -qxF "$line" "$work/bottles.ini" && say yes "written: $line" || say no "written: $line"
done

# A wire: the simulated tank at its pace, heard while the questions are answered.
wired='\n10\n\n\n\n\n0.5\n0.9\n\n2\n\n\n'
mkfifo "$work/acts"
"$tank" --pace 10 --link "$work/tank" <"$work/acts" >"$work/tank.log" 2>&1 &
exec 9>"$work/acts"
for i in $(seq 100); do [ -e "$work/tank" ] && break; sleep 0.1; done
setup "a scale on a wire" 0 "Heard on .*: 3 columns" - "${wired}yes\n" --rig "$work/wired.ini" --port "$work/tank" --seconds 1
grep -q "^Listening to $work/tank while you answer: 1 s at each usual" "$work/out" && grep -q "^Listening to $work/tank for up to 12 s: press on the hook" "$work/out" &&
    grep -q "^Listening for 16 s: keep hands off" "$work/out" && say yes "says that it listens" || say no "says that it listens"
grep -q '^kind = pty$' "$work/wired.ini" && grep -q "^simulated = yes$" "$work/wired.ini" && grep -qE '^id = bench-[0-9a-f]{8}$' "$work/wired.ini" && say yes "with an id of its own" || say no "with an id of its own"
expect "and is read" 0 "lines read, . refused" - -- "$bin" listen --rig "$work/wired.ini" --seconds 1
exec 9>&-
wait
# Devices of our own that are silent until they are asked: one with ten lines and a clock, one as scales are.
for wire in "more 10" ask; do
    python3 "$(dirname "$0")/polled.py" "$work/polled" "$wire" &
    device=$!
    for i in $(seq 100); do [ -e "$work/polled" ] && break; sleep 0.1; done
    setup "a scale that sends only when asked ($wire)" 0 "Some scales send only when asked" - "${wired}${wire}\nyes\n" --rig "$work/polled-${wire%% *}.ini" --port "$work/polled" --seconds 1
    rm -f "$work/polled"
    wait $device
done
for line in 'poll = more 10' 'poll_lines = 10' 'poll_end = lf' 'layout = fields'; do
    grep -qx "$line" "$work/polled-more.ini" && say yes "drafted: $line" || say no "drafted: $line"
done
for line in 'poll = W' 'poll_lines = 1' 'poll_end = cr'; do
    grep -qx "$line" "$work/polled-ask.ini" && say yes "drafted: $line" || say no "drafted: $line"
done
setup "no such port" 1 "/dev/nowhere" "no rig file was written" "$wired" --rig "$work/left.ini" --port /dev/nowhere --seconds 0.2
finish
