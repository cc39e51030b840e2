#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The catalogue as pages: nothing of a name is markup, nothing is fetched, nothing is written twice. In a browser:
# tests/cli/page_browser_test.sh.
. "$(dirname "$0")/tap.sh"
here=$(cd "$(dirname "$0")" && pwd)
case $bin in /*) ;; *) bin=$PWD/$bin ;; esac
cd "$work" || exit 2
"$bin" demo --dir demo --seed 3 >/dev/null 2>&1
export UPTHRUST_CATALOGUE="$work/demo/catalogue"
expect "no folder named" 2 - "give --to" -- "$bin" page
expect "the first time" 0 "^p/index.html: 14 items, 11 pages of models; 26 files changed$" - -- "$bin" page --to p
expect "the second time" 0 "; 0 files changed$" - -- "$bin" page --to p
expect "nothing that fits" 1 - "no item to show" -- "$bin" page --kind regulator --to q
[ ! -e q ] && say yes "and no folder" || say no "and no folder"
expect "some of them" 0 "3 items" - -- "$bin" page --kind fin --class positive --to q
expect "a file where the folder should be" 1 - "cannot make the folder p/index.html" -- "$bin" page --to p/index.html
expect "with what other programs read" 0 "" - -- "$bin" page --data --to d
[ -s d/data/csv-metadata.json ] && [ -s d/data/catalogue.json ] && [ -s d/data/items.gp ] && grep -q 'href="data/"' d/index.html &&
    [ ! -e p/data ] && say yes "which is there only then" || say no "which is there only then"

# ---- hostile names, and what a page may not hold ----
"$bin" item add --name '</bdi><script>alert(1)</script>' --kind fin --maker '" onload="x' --model "'><img src=//x>" \
    --size '<!--' >/dev/null || exit 2
"$bin" item rename "Heron fin" "$(printf '\327\251\327\234\327\225\327\235 & co')" >/dev/null
"$bin" page --to p >/dev/null
"$bin" page --single --to s >/dev/null
python3 "$here/page_check.py" p s >"$work/out" 2>&1 && say yes "no page fetches, runs or breaks out" || say no "no page fetches, runs or breaks out"
grep -q "A weight check in the water decides" p/i/*.html && grep -c "SIMULATED: no gear was weighed" p/i/*.html | grep -qv ":1$\|:0$" && say no "each says what it is" || say yes "each says what it is"
[ "$(grep -L "A weight check in the water decides" p/i/*.html p/m/*.html p/*.html | wc -l)" -eq 0 ] && say yes "each says what decides" || say no "each says what decides"
[ "$(grep -l "SIMULATED: no gear was weighed" p/i/*.html | wc -l)" -eq 14 ] && say yes "14 of 15 are marked as simulated" || say no "14 of 15 are marked as simulated"

# ---- size ----
python3 "$here/many_items.py" demo/catalogue 985 && python3 "$here/rehash.py" demo/catalogue
"$bin" page --to many >"$work/out" 2>"$work/err"
[ -s "$work/err" ] && say no "a pipe is told of no progress" || say yes "a pipe is told of no progress"
raw=$(wc -c <many/index.html) packed=$(gzip -9c many/index.html | wc -c)
echo "# 1000 items: $raw bytes, $packed packed"
[ "$raw" -le 300000 ] && [ "$packed" -le 60000 ] && [ ! -e many/index-2.html ] && say yes "an index of a thousand is light" || say no "an index of a thousand is light"
python3 "$here/many_items.py" demo/catalogue 1 && python3 "$here/rehash.py" demo/catalogue
"$bin" page --to many >"$work/out" 2>&1
[ "$(grep -c '^<tr>' many/index.html)" -eq 500 ] && [ "$(grep -c '^<tr>' many/index-3.html)" -eq 1 ] && say yes "more are paged by 500" || say no "more are paged by 500"
finish
