#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Queues, reference bodies, second depth and two points through the whole program.
. "$(dirname "$0")/tap.sh"
here=$(dirname "$0")
if timeout 600 python3 "$here/session_extras.py" "$bin" "$bin-tank" "$work/sides" >"$work/out" 2>"$work/err"; then
    say yes "sides and a queue: $(cat "$work/out")"; else say no "sides and a queue"; cat "$work/err"; fi
c=$work/sides/catalogue
rig=$work/sides/rig.ini
printf 'Heron fin\nHeron fin\n' >"$work/twice.txt"
printf 'Heron fin\nNo such thing\n' >"$work/unknown.txt"
printf '# nothing\n\n' >"$work/empty.txt"
measure() { "$bin" measure --rig "$rig" --catalogue "$c" --operator json "$@" </dev/null; }
expect "a list with one twice" 2 - "twice.txt, line 2: Heron fin is listed twice" -- measure --queue "$work/twice.txt"
expect "a list with a stranger" 2 - "unknown.txt, line 2: no item" -- measure --queue "$work/unknown.txt"
expect "a list of nothing" 2 - "names no item" -- measure --queue "$work/empty.txt"
expect "not a list" 2 - "cannot read .*nowhere" -- measure --queue "$work/nowhere.txt"
expect "a directory for a list" 2 - "it is a directory" -- measure --queue "$work"
expect "a list and an item" 2 - "give only one" -- measure --queue "$work/twice.txt" --item "Heron fin"
printf 'Heron fin\n' >"$work/new.txt"
printf 'Auk hood\nHeron fin\n' >"$work/deep.txt"
expect "a depth for a list with what does not yield" 2 - "Heron fin: --second-depth-m is for what holds gas" -- measure --queue "$work/deep.txt" --second-depth-m 2
expect "nothing to take up" 2 - "begin without --resume" -- measure --queue "$work/new.txt" --resume
sed 's/^id = .*/id = the-other-bench/' "$rig" >"$work/other.ini"
expect "a list of another bench" 2 - "a list called stock.txt on the bench the-other-bench yet" -- "$bin" measure --rig "$work/other.ini" --catalogue "$c" --operator json --queue "$work/sides/stock.txt" --resume
expect "trials that fall" 2 - "rise" -- measure --item "Heron fin" --trials 6,4
expect "half a trial" 2 - "whole numbers" -- measure --item "Heron fin" --trials 2.5
"$bin" item add --name "Lone lamp" --kind lamp --holds-gas no --catalogue "$c" >/dev/null
expect "one trial of a kind nobody knows" 2 - "one trial does not show" -- measure --item "Lone lamp" --trials 1
expect "a depth for what does not yield" 2 - "for what holds gas" -- measure --item "Heron fin" --second-depth-m 2
expect "a depth no deeper" 2 - "shows nothing about gas" -- measure --item "Auk hood" --second-depth-m 0.45
expect "three bodies" 2 - "at most 2" -- measure --item "Heron fin" --body "Steel reference" --body "Hollow reference" --body "Steel reference"
expect "one body twice" 2 - "the same one twice" -- measure --item "Heron fin" --body "Steel reference" --body "Steel reference"
expect "no such body" 2 - "no reference body|no body" -- measure --item "Heron fin" --body "Brass"
finish
