# SPDX-License-Identifier: GPL-3.0-or-later
# .ci/floors.sh notices a file, function, folder or page that has grown too large, and an arrow that
# runs the wrong way: a small tree that keeps all limits, broken in one place at a time.
. "$(dirname "$0")/../cli/tap.sh"
here=$(cd "$(dirname "$0")/../.." && pwd)
tree=$work/tree
lines() { awk -v n="$1" 'BEGIN {for (i = 1; i <= n; i++) print "x"}'; }
function_of() { printf 'int %s(void)\n{\n' "$1"; lines $(($2 - 3)); echo '}'; }
begin() {
    rm -rf "$tree"
    mkdir -p "$tree/include/upthrust" "$tree/tests/wire" "$tree/rigs" "$tree/plots"
    cp -r "$here/.ci" "$tree"
    for folder in "$here"/firmware-host/*/; do
        mkdir -p "$tree/firmware-host/$(basename "$folder")"
        function_of one 15 >"$tree/firmware-host/$(basename "$folder")/one.c"
    done
    for file in README.md DEVELOPERS.md rigs/README.md rigs/tank.c include/upthrust/failure.h Makefile; do lines 3 >"$tree/$file"; done
}
# The lines that begin with "not ok", without the figure.
broken() { sh "$tree/.ci/floors.sh" 2>&1 | sed -n 's/^not ok \([0-9]* \)*- //p' | tr '\n' ';'; }
breaks() { # name pattern
    { broken; echo; } >"$work/out" 2>"$work/err"
    grep -qE "^$2;?$" "$work/out" && say yes "$1" || say no "$1"
    begin
}
begin
breaks "a small tree breaks nothing" ''
lines 701 >"$tree/firmware-host/wire/long.c"
breaks "a file of 701 lines" 'lines of the longest file: 701, at most 700: firmware-host/wire/long.c'
lines 701 >"$tree/tests/wire/long_test.c"
breaks "a test of 701 lines" 'lines of the longest file: 701, at most 700: tests/wire/long_test.c'
for folder in "$tree"/firmware-host/*/; do function_of two 16 >"$folder/two.c"; function_of three 16 >"$folder/three.c"; done
breaks "functions of 16 lines" 'lines of a function, median: 16, at most 15'
for n in 1 2 3; do function_of "long_$n" 46 >>"$tree/firmware-host/wire/one.c"; done
breaks "more than one in ten of 46 lines" 'lines of a function, nine in ten: 46, at most 45'
for n in $(seq 40); do : >"$tree/firmware-host/wire/$n.h"; done
breaks "41 files in a folder" 'files in the fullest folder: 41, at most 40: firmware-host/wire'
lines 1401 >"$tree/README.md"
breaks "a README of 1401 words" 'words of README.md: 1401, at most 1400'
lines 2501 >"$tree/DEVELOPERS.md"
breaks "DEVELOPERS.md of 2501 words" 'words of DEVELOPERS.md: 2501, at most 2500'
lines 4001 >"$tree/rigs/README.md"
breaks "a rig page of 4001 words" 'words of rigs/README.md: 4001, at most 4000'
for n in $(seq 32); do lines 700 | tee "$tree/firmware-host/cli/$n.h" "$tree/firmware-host/bench/$n.h" >"$tree/firmware-host/wire/$n.h"; done
breaks "firmware-host/ of more than 65500 lines" 'lines of firmware-host/: [0-9]*, at most 65500'
echo '#include "session/session.h"' >>"$tree/firmware-host/wire/one.c"
breaks "a stage that asks one to its right" 'wire asks session/ '
echo '#include "upthrust/catalogue.h"' >>"$tree/firmware-host/bench/one.c"
breaks "a public header of a later stage" 'bench asks upthrust/catalogue.h '
echo '#include <poll.h>' >>"$tree/firmware-host/bench/one.c"
breaks "bench/ that waits for a device" 'bench asks #include <poll.h> '
finish
