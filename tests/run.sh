#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Runs the tests of one build variant, one more at a time than there are processors (JOBS; many only wait), and counts
# their TAP lines.
#   tests/run.sh build/release quick|fast|all
# quick: the C tests outside tests/truth. fast: those and every tests/*/*_test.sh. all: tests/truth too.
# A script or program that ends badly without a line that says so counts as one failure.
set -u
out=$1 which=$2
cd "$(dirname "$0")/.." || exit 2
if [ "$which" = one ]; then # source counts
    log=$(mktemp) || exit 2
    trap 'rm -f "$log" "$log.counted"' EXIT
    name=${3%.*} begin=$(date +%s)
    case $3 in
    *.c) CMOCKA_MESSAGE_OUTPUT=TAP "$out/$name" ;;
    *) sh "$3" "$out" ;;
    esac >"$log" 2>&1 </dev/null
    status=$?
    # cmocka 1.1.5 writes a skipped test as "not ok N # SKIP".
    skipped=$(grep -ciE '^(not )?ok .*# skip' "$log")
    grep -viE '^(not )?ok .*# skip' "$log" >"$log.counted"
    ok=$(grep -c '^ok ' "$log.counted"); bad=$(grep -c '^not ok ' "$log.counted")
    if [ "$status" -ne 0 ] && [ "$bad" -eq 0 ]; then bad=1; echo "not ok - ended with status $status" >>"$log"; fi
    if [ "$ok" -eq 0 ] && [ "$bad" -eq 0 ] && [ "$skipped" -eq 0 ]; then bad=1; echo "not ok - tested nothing" >>"$log"; fi
    # In one piece: other tests write beside it.
    {
        printf '%-46s %4d passed %3d failed %4d s\n' "$name" "$ok" "$bad" $(($(date +%s) - begin))
        [ "$skipped" -eq 0 ] || grep -iE '^(not )?ok .*# skip' "$log" | sed 's/^/    skipped: /'
        [ "$bad" -eq 0 ] || sed 's/^/    /' "$log"
    } >"$log.counted"
    cat "$log.counted"
    echo "$ok $bad" >>"$4"
    exit 0
fi
counts=$(mktemp) || exit 2
trap 'rm -f "$counts" "$counts.sources"' EXIT
for source in tests/*/*_test.sh tests/truth/*_test.c tests/*/*_test.c; do # the longest first
    case $which:$source in quick:*.sh | quick:tests/truth/* | fast:tests/truth/*) ;; *) echo "$source" ;; esac
done | awk '!seen[$0]++' >"$counts.sources"
xargs -P "${JOBS:-$(($(nproc) + 1))}" -I '{}' sh tests/run.sh "$out" one '{}' "$counts" <"$counts.sources"
awk -v sources="$(wc -l <"$counts.sources")" '{ok += $1; bad += $2}
    END {if (NR != sources) {bad++; print "not ok - " sources - NR " tests came to no end"}
    printf "%d passed, %d failed\n", ok, bad; exit bad > 0}' "$counts"
