#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The pages in a browser without a screen: sorting, searching, a phone's width, without scripts, nothing on the
# console, and what the accessibility checker axe-core finds, where npm fetches it (tests/cli/axe).
. "$(dirname "$0")/tap.sh"
here=$(cd "$(dirname "$0")" && pwd)
case $bin in /*) ;; *) bin=$PWD/$bin ;; esac
if ! command -v chromedriver >/dev/null 2>&1 || ! /usr/bin/python3 -c 'import selenium' 2>/dev/null; then
    if [ -n "${CI:-}" ]; then echo "not ok 1 - no browser is installed"; else
        echo "ok 1 - pages in a browser # SKIP chromium-driver and python3-selenium are not installed"; fi
    echo 1..1
    exit 0
fi
cd "$work" || exit 2
"$bin" demo --dir demo --seed 3 >/dev/null 2>&1
export UPTHRUST_CATALOGUE="$work/demo/catalogue"
"$bin" item rename "Heron fin" "$(printf '\327\251\327\234\327\225\327\235 w%079d' 0)" >/dev/null
"$bin" page --pictures --to p >/dev/null || exit 2
if command -v npm >/dev/null 2>&1; then
    cp "$here/axe/package.json" "$here/axe/package-lock.json" .
    npm ci --ignore-scripts --no-audit --no-fund >npm.log 2>&1 || { echo "# axe-core could not be fetched:"; sed 's/^/#   /' npm.log; }
fi
/usr/bin/python3 "$here/page_browser.py" p
