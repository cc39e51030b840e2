# SPDX-License-Identifier: GPL-3.0-or-later
# What the Makefile builds anew after which change, in a copy of the tree where a stand-in for the
# compiler writes the dependency files and empty objects.
. "$(dirname "$0")/../cli/tap.sh"
here=$(cd "$(dirname "$0")/../.." && pwd)
unset MAKEFLAGS MAKELEVEL MFLAGS
cp -r "$here/Makefile" "$here/firmware-host" "$here/include" "$here/rigs" "$here/plots" "$here/tests" "$work"
cat >"$work/compiler" <<'EOF'
#!/bin/sh
for word; do
    [ "${last:-}" != -o ] || made=$word
    case $word in -I* | -D*) flags="${flags:-} $word" ;; *.c) source=$word ;; esac
    last=$word
done
case " $* " in *" -c "*) gcc -std=c17 $flags -MM -MP -MF "${made%.o}.d" -MT "$made" "$source" || exit 1 ;; esac
: >"$made"
EOF
chmod +x "$work/compiler"
cd "$work" || exit 2
build() { make -j2 CC="$work/compiler" "$@" >"$work/out" 2>"$work/err"; }
compiled() { grep -c -- ' -c -o ' "$work/out"; } # the last build, which was made with -n
check() { # name command...
    name=$1; shift
    "$@" && say yes "$name" || say no "$name"
}
points_at() { [ "$(readlink build/upthrust)" = "$1/upthrust" ] && [ "$(readlink build/upthrust-tank)" = "$1/upthrust-tank" ]; }

check "the program is built" build
check "its link points at release" points_at release
build -n
check "a second make compiles nothing" test "$(compiled)" -eq 0
build -n VARIANT=other
check "a variant that was never built is compiled" test "$(compiled)" -gt 100
check "... and built" build VARIANT=other
check "... and linked" points_at other
check "plain make after it" build
check "... takes its own link back" points_at release

build tests build/release/tests/speed/soak
build -n -W plots/items.gp all tests
users=$(grep -l '"embedded\.h"' firmware-host/*/*.c tests/*/*.c | grep -vc /fuzz/)
check "a plot template is compiled into those $users that include it" test "$(compiled)" -eq "$users"
build -n -W include/upthrust/failure.h build/release/tests/speed/soak
check "the soak is compiled again with its headers" grep -q -- '-c -o build/release/tests/speed/soak.o' out
rm -r build
build -n quick
check "make quick builds the program" grep -q -- '-c -o build/release/firmware-host/cli/main.o' out
finish
