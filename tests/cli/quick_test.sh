#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Quick weighings through the whole program: an afternoon on the simulated tank, and what is made of it.
. "$(dirname "$0")/tap.sh"
here=$(dirname "$0")
if timeout 300 python3 "$here/quick.py" "$bin" "$bin-tank" "$work/tank" >"$work/out" 2>"$work/err"; then
    say yes "an afternoon: $(head -n 1 "$work/out")"; else say no "an afternoon"; cat "$work/err"; fi
c=$work/tank/catalogue
rig=$work/tank/rig.ini
measure() { "$bin" measure --quick --rig "$rig" --catalogue "$c" --operator json "$@" </dev/null; }
list() { printf "$1" >"$work/list.csv"; }
list 'name,kind,mass g\nNew fin,fin,heavy\n'
expect "a mass that is none" 2 - "list.csv, line 2: mass g: heavy is not a number of grams" -- measure --queue "$work/list.csv"
list 'name;size\nNew fin;L\n'
expect "an unknown item without a kind" 2 - "line 2: New fin is not in the catalogue: give it a kind" -- measure --queue "$work/list.csv"
list 'name,kind\nNew fin,fin\nOther,fin\nNew fin,fin\n'
expect "a new one twice" 2 - "line 4: New fin is listed twice" -- measure --queue "$work/list.csv"
list 'name,kind,pieces\nNew fin,fin,7\n'
expect "pieces that no fin has" 2 - "line 2: pieces: 1, or 2 for a pair" -- measure --queue "$work/list.csv"
list 'kind,stock number\nfin,\n'
expect "a row of nothing" 2 - "line 2: there is neither a name nor a stock number" -- measure --queue "$work/list.csv"
expect "nothing of these was added" 0 "^0$" - -- sqlite3 "$c/catalogue.sqlite" "SELECT count(*) FROM item WHERE name = 'New fin'"
expect "typed readings" 2 - "--typed and --quick" -- measure --typed --item "Heron fin"
expect "a label nowhere" 2 - "--label: name a folder" -- measure --item "Heron fin" --label ""
expect "a label says at most" 0 "" "" -- "$bin" label --item "Tern mask" --to "$work/card.svg" --catalogue "$c"
expect "a page" 0 "" "" -- "$bin" page --to "$work/page" --catalogue "$c"
if grep -rq "quick weighing" "$work/page"; then say yes "a page says quick"; else say no "a page says quick"; fi
expect "explained in ounces, which its bounds are not" 0 "equations of a quick weighing hold in SI units" "" -- "$bin" explain "Tern mask" --units imperial --catalogue "$c"
expect "rows of many leave quick ones out, and say so" 0 "^1 item was weighed quickly" "" -- "$bin" plot --by kind --to "$work/plots" --catalogue "$c"
expect "no row of many" 2 - "no full weighing" -- "$bin" plot --by kind --kind mask --to "$work/plots" --catalogue "$c"
finish
