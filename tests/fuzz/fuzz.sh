#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Runs every fuzz target for a while from its committed seeds: fuzz.sh BUILD_DIRECTORY SECONDS.
# New inputs stay outside the seeds; one that crashes is kept in the build directory and named.
set -u
out=$1 seconds=$2 bad=0 good=0
cd "$(dirname "$0")/../.." || exit 2
for source in tests/fuzz/*_fuzz.c; do
    name=$(basename "${source%_fuzz.c}")
    mkdir -p "$out/fuzz/$name"
    if "$out/tests/fuzz/${name}_fuzz" -max_total_time="$seconds" -max_len=4096 -timeout=10 -rss_limit_mb=1024 \
        -artifact_prefix="$out/fuzz/$name-" -print_final_stats=1 "$out/fuzz/$name" "tests/fuzz/seeds/$name" >"$out/fuzz/$name.log" 2>&1; then
        good=$((good + 1))
        echo "ok - fuzz $name: $(sed -n 's/stat::number_of_executed_units: */inputs tried: /p' "$out/fuzz/$name.log")"
    else
        bad=$((bad + 1))
        echo "not ok - fuzz $name"
        grep -m 1 -E 'does not hold|ERROR' "$out/fuzz/$name.log"
        tail -n 20 "$out/fuzz/$name.log"
    fi
done
echo "$good passed, $bad failed"
[ "$bad" -eq 0 ]
