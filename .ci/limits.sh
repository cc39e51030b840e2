#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# How large things may grow. Prints a TAP line for each limit, with the figure.
set -u
cd "$(dirname "$0")/.." || exit 2
bad=0
limit() { # name figure most [what breaks it]
    if [ "$2" -le "$3" ]; then echo "ok - $1: $2, at most $3"; else
        bad=1; echo "not ok - $1: $2, at most $3${4:+: $4}"; fi
}
sources() { find firmware-host include rigs tests plots .ci Makefile -type f -regex "$1"; }
longest() { # the longest file below some folders, and its lines
    find $2 -type f -regex '.*\.\(c\|h\|py\|sh\|gp\)\|Makefile' | xargs wc -l | grep -v ' total$' | sort -n | awk -v most="$1" '
        $1 > most {names = names " " $2} {last = $1} END {print last, names}'
}
# Lines of each function of C that clang-format laid out: from a name in the first column to its brace.
functions() {
    sources '.*\.c' | xargs awk '
        FNR == 1 {head = ""; body = 0}
        head == "" && /^[A-Za-z_]/ {head = $0; from = FNR}
        head != "" && !body && (/;$/ || /^#/) {head = ""}
        head != "" && !body && /\{$/ {if (head ~ /\(/ && head !~ /=/) body = 1; else head = ""}
        body && /^\}/ {print FNR - from + 1; body = 0; head = ""}' | sort -n |
        awk '{length_of[NR] = $1} END {print length_of[int((NR + 1) / 2)], length_of[int((9 * NR + 9) / 10)]}'
}
words() { wc -w <"$1"; }

set -- $(longest 700 "firmware-host include plots rigs tests .ci Makefile")
lines=$1; shift
limit "lines of the longest file" "$lines" 700 "$*"
set -- $(functions)
limit "lines of a function, median" "$1" 15
limit "lines of a function, nine in ten" "$2" 45
set -- $(for folder in firmware-host/* include/* tests/* rigs plots; do
    [ ! -d "$folder" ] || echo "$(find "$folder" -maxdepth 1 -type f | wc -l) $folder"
done | sort -n | awk '$1 > 40 {names = names " " $2} {last = $1} END {print last, names}')
files=$1; shift
limit "files in the fullest folder" "$files" 40 "$*"
limit "words of README.md" "$(words README.md)" 1400
limit "words of DEVELOPERS.md" "$(words DEVELOPERS.md)" 2500
limit "words of rigs/README.md" "$(words rigs/README.md)" 4000
# 42000 was the aim for all that is planned. Kits, the guided setup, the marks of records from elsewhere, the
# bound of stuck air and the scatter of loadings passed it; nothing is packed. Then came the setup's way back (240),
# what a guest cannot change (250), what is asked about a calibration's line (200), labels and pages (1900), the quick
# weighing's mathematics (1200), its command, stock lists and views (2000), pictures (1600), units on every screen
# (700), guests (600), the run report (1000), ounces and strips in pictures and labels (600), canonical JSON, signatures
# and the keys of an account (750), the signed form of records (800), what stays private, redaction, backup and salvage
# (1600), whose records count (950), checks of what is signed (300), tables of what counts and pages of lists (1000),
# early readings of full lists (500).
# What is added next says here what it is for.
limit "lines of firmware-host/" "$(find firmware-host -name '*.[ch]' | xargs cat | wc -l)" 65500
exit $bad
