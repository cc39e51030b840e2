#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Runs the tests of one build variant and counts their TAP lines.
#   tests/run.sh build/release quick|fast|all
# quick: the C tests outside tests/truth. fast: those and every tests/*/*_test.sh. all: tests/truth too.
# A script or program that ends badly without a line that says so counts as one failure.
set -u
out=$1 which=$2
cd "$(dirname "$0")/.." || exit 2
log=$(mktemp) && all=$(mktemp) || exit 2
trap 'rm -f "$log" "$log.told" "$all"' EXIT
one() {
    name=$1; shift
    CMOCKA_MESSAGE_OUTPUT=TAP "$@" >"$log" 2>&1; status=$?
    # cmocka 1.1.5 writes a skipped test as "not ok N # SKIP".
    skipped=$(grep -ciE '^(not )?ok .*# skip' "$log")
    grep -viE '^(not )?ok .*# skip' "$log" >"$log.told"
    ok=$(grep -c '^ok ' "$log.told"); bad=$(grep -c '^not ok ' "$log.told")
    if [ "$status" -ne 0 ] && [ "$bad" -eq 0 ]; then bad=1; echo "not ok - ended with status $status" >>"$log"; fi
    if [ "$ok" -eq 0 ] && [ "$bad" -eq 0 ] && [ "$skipped" -eq 0 ]; then bad=1; echo "not ok - tested nothing" >>"$log"; fi
    printf '%-46s %4d passed %3d failed\n' "$name" "$ok" "$bad"
    [ "$skipped" -eq 0 ] || grep -iE '^(not )?ok .*# skip' "$log" | sed 's/^/    skipped: /'
    [ "$bad" -eq 0 ] || sed 's/^/    /' "$log"
    echo "$ok $bad" >>"$all"
}
for source in tests/*/*_test.c; do
    case $which:$source in quick:tests/truth/* | fast:tests/truth/*) continue ;; esac
    one "${source%.c}" "$out/${source%.c}"
done
if [ "$which" != quick ]; then
    for script in tests/*/*_test.sh; do
        [ -e "$script" ] || continue
        one "${script%.sh}" sh "$script" "$out"
    done
fi
awk '{ok += $1; bad += $2} END {printf "%d passed, %d failed\n", ok, bad; exit bad > 0}' "$all"
