# SPDX-License-Identifier: GPL-3.0-or-later
# The library as another program meets it: installed, found by pkg-config, linked, run. Always the
# release build: a program of others brings no sanitizer along.
. "$(dirname "$0")/../cli/tap.sh"
here=$(cd "$(dirname "$0")" && pwd)
cc=${CC:-cc} stage=$work/stage
lib=$stage/usr/local/lib
check() { # name command...
    name=$1; shift
    "$@" >"$work/out" 2>"$work/err" && say yes "$name" || say no "$name"
}
check "staged install" env -u MAKEFLAGS -u MAKELEVEL -u MFLAGS \
    make -s -C "$here/../.." install VARIANT=release DESTDIR="$stage"
for file in bin/upthrust bin/upthrust-tank share/man/man1/upthrust.1 share/man/man1/upthrust-tank.1 share/man/man5/upthrust-rig.5 share/bash-completion/completions/upthrust \
    include/upthrust/catalogue.h lib/libupthrust.a lib/libupthrust.so lib/libupthrust.so.0 lib/pkgconfig/upthrust.pc; do
    check "installed: $file" test -s "$stage/usr/local/$file"
done

# Pages: those that messages name are installed, and no link between them is broken, here or there.
links() { # folder: names each link to a file that is not there
    (cd "$1" && for page in *.md rigs/*.md include/*/*.md firmware-host/*/*.md tests/*/*.md; do
        grep -oE '\]\([^):]*\)' "$page" | sed 's/^](//; s/)$//; s/#.*//' | while read -r link; do
            [ -z "$link" ] || [ -e "$(dirname "$page")/$link" ] || echo "$page: $link"
        done
    done)
}
check "no link is broken in the repository" test -z "$(links "$here/../..")"
check "no link is broken among the installed pages" test -z "$(links "$stage/usr/local/share/doc/upthrust")"
# Messages name no path of a source tree: what they send to must be there once installed.
named=$(grep -ohE '"[^"]*(rigs/[A-Za-z-]*\.(md|ini)|README\.md)' "$here"/../../firmware-host/*/*.c | grep -v '^"embedded' | sort -u)
check "messages name no page by a path" test -z "$named"
check "the rig page and its cautions are installed" grep -q '^## Cautions' "$stage/usr/local/share/doc/upthrust/rigs/README.md"
check "its man page has them" grep -q '^\.SH CAUTIONS' "$stage/usr/local/share/man/man5/upthrust-rig.5"
check "and every key" grep -qF 'gravity_m_s2\fR' "$stage/usr/local/share/man/man5/upthrust-rig.5"
check "the tank's man page names what is installed" grep -qF '/usr/local/share/upthrust/rigs/simulated.ini' "$stage/usr/local/share/man/man1/upthrust-tank.1"
check "and no path of a source tree" sh -c "! grep -E 'build/|(^|[^/])rigs/' '$stage/usr/local/share/man/man1/upthrust-tank.1' '$stage/usr/local/share/man/man1/upthrust.1' '$stage/usr/local/share/man/man5/upthrust-rig.5'"
for page in man1/upthrust-tank.1 man5/upthrust-rig.5; do
    check "clean: $page" sh -c "! command -v groff >/dev/null || test -z \"\$(groff -man -ww -Tutf8 '$stage/usr/local/share/man/$page' 2>&1 >/dev/null)\""
done

nm -D --defined-only "$lib/libupthrust.so.0" | awk '{print $3}' >"$work/shared"
nm -g --defined-only "$lib/libupthrust.a" | awk 'NF == 3 {print $3}' >"$work/static"
for kind in shared static; do
    check "the $kind library exports something" grep -qx up_water_density "$work/$kind"
    check "the $kind library exports our names only" sh -c "! grep -v '^up_' '$work/$kind'"
done
cp "$work/shared" "$work/out"; : >"$work/err"
sort "$work/static" | cmp -s - "$work/shared" &&
    say yes "both export the same" || say no "both export the same"
check "no exit and no printing inside" sh -c \
    "! nm -D '$lib/libupthrust.so.0' | grep -E ' U (exit|_Exit|quick_exit|printf|__printf_chk|puts|putchar|perror|stdout|stderr)(@|\$)'"
check "each header stands alone" sh -c "for header in '$stage'/usr/local/include/upthrust/*.h; do
    $cc -std=c17 -D_XOPEN_SOURCE=700 -fsyntax-only -x c -I'$stage/usr/local/include' \"\$header\" || exit 1; done"

export PKG_CONFIG_PATH="$lib/pkgconfig" PKG_CONFIG_SYSROOT_DIR="$stage"
"$bin" item add --name "Plain fin" --kind fin --catalogue "$work/c" >/dev/null
"$bin" item add --name "Twin fins" --kind fin --pair --catalogue "$work/c" >/dev/null
# shellcheck disable=SC2046
check "a program is built with pkg-config" $cc -std=c17 -Wall -Wextra -Werror -o "$work/density" "$here/density.c" \
    $(pkg-config --cflags --libs upthrust)
export LD_LIBRARY_PATH="$lib"
told="^2 items, $("$bin" water --temp-c 15 --salinity-g-kg 35.16504 --json |
    sed -n 's/.*"density_kg_m3": \([0-9.]*\).*/\1/p' | xargs printf '%.2f') kg/m3\$"
expect "it reads a catalogue and tells a density" 0 "$told" - -- "$work/density" "$work/c"
check "it is linked to libupthrust.so.0" sh -c "readelf -d '$work/density' | grep -q 'libupthrust\.so\.0'"
check "each function stands in an example" sh -c "python3 '$here/examples.py' \
    '$here/../../include/upthrust/EXAMPLES.md' '$work/shared' >'$work/examples.c'"
check "the examples are built" $cc -std=c17 -Wall -Wextra -Werror -o "$work/examples" \
    "$work/examples.c" $(pkg-config --cflags --libs upthrust) -ljansson -lm
mkdir "$work/scratch"
expect "and do what they say" 0 '^[0-9]+ examples$' - -- \
    "$work/examples" "$here/../../rigs/sixteen-columns.ini" "$work/scratch"
unset LD_LIBRARY_PATH
check "a program is built with the static library" $cc -std=c17 -o "$work/alone" "$here/density.c" \
    $(pkg-config --cflags upthrust) "$lib/libupthrust.a" $(pkg-config --static --libs upthrust | sed 's/-lupthrust//')
expect "it tells the same" 0 "$told" - -- "$work/alone" "$work/c"
finish
