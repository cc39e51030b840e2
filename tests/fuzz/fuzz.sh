#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Runs every fuzz target for a while from its committed seeds: fuzz.sh BUILD_DIRECTORY SECONDS [NAME...].
# New inputs are kept outside the seeds, in the build directory; one that crashes is kept there too and named.
set -u
seconds=$2 bad=0 good=0
cd "$(dirname "$0")/../.." || exit 2
out=$(cd "$1" && pwd) here=$PWD || exit 2 # a target stands in a folder of its own
shift 2
[ $# -gt 0 ] || set -- $(ls tests/fuzz/*_fuzz.c | sed 's,.*/\(.*\)_fuzz\.c,\1,')
# Catalogues lie in memory where they can.
place=$(mktemp -d -p /dev/shm 2>/dev/null) || place=$(mktemp -d) || exit 2
trap 'rm -rf "$place"' EXIT
export UPTHRUST_FUZZ_PLACE="$place" UPTHRUST_FUZZ_SEEDS="$here/tests/fuzz/seeds"
statistic() { sed -n "s/^stat::$2: *//p" "$out/fuzz/$1.log"; }
for name in "$@"; do
    case $name in import | merge | records) seeds=$here/tests/fuzz/seeds/document ;; *) seeds=$here/tests/fuzz/seeds/$name ;; esac
    case $name in import | merge | records | run) most=32768 ;; *) most=4096 ;; esac
    mkdir -p "$out/fuzz/$name"
    if "$out/tests/fuzz/${name}_fuzz" -max_total_time="$seconds" -max_len=$most -timeout=10 -rss_limit_mb=1024 \
        -artifact_prefix="$out/fuzz/$name-" -print_final_stats=1 "$out/fuzz/$name" "$seeds" >"$out/fuzz/$name.log" 2>&1 </dev/null; then
        good=$((good + 1))
        echo "ok - fuzz $name: $(statistic "$name" number_of_executed_units) inputs tried, $(statistic "$name" average_exec_per_sec) a second"
    else
        bad=$((bad + 1))
        echo "not ok - fuzz $name"
        grep -m 1 -E 'does not hold|ERROR' "$out/fuzz/$name.log"
        tail -n 20 "$out/fuzz/$name.log"
    fi
done
echo "$good passed, $bad failed"
[ "$bad" -eq 0 ]
