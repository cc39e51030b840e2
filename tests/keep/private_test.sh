#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What is private stays in the folder; what was taken away is gone; backups; damaged files.
. "$(dirname "$0")/../cli/tap.sh"
here=$(dirname "$0")
if python3 "$here/private.py" "$bin" "$bin-tank" "$work/private" >"$work/out" 2>"$work/err"; then
    while read -r line; do say yes "$line"; done <"$work/out"
else say no "what is private stays here"; fi

c=$work/c
"$bin" item add --name "My fin" --kind fin --catalogue "$c" >"$work/item"
"$bin" item edit "My fin" --size L --catalogue "$c" >"$work/item"
id=$(sqlite3 "$c/catalogue.sqlite" "SELECT record_id FROM item")
writer=$(sqlite3 "$c/catalogue.sqlite" "SELECT record_id FROM writer")
expect "a reason is wanted" 2 - "give --reason TEXT" -- "$bin" redact "$id" --catalogue "$c"
expect "a record that is not there" 2 - "has no record 3f2a" -- "$bin" redact 3f2a --reason x --catalogue "$c"
expect "who signed stays" 2 - "only says who signed others" -- "$bin" redact "$writer" --reason x --catalogue "$c"
expect "the facts alone" 0 "facts taken away; its envelope stays" - -- "$bin" redact "$id" --facts --reason x --catalogue "$c"
expect "the version before counts" 0 "size -" - -- "$bin" item show "My fin" --catalogue "$c"
expect "it is not set aside, and cannot be taken back" 2 - "is not set aside" -- "$bin" check-catalogue --take-back "$id" --catalogue "$c"
expect "it is told" 0 "facts taken away, x" - -- "$bin" check-catalogue --catalogue "$c"
expect "twice" 0 "were already taken away" - -- "$bin" redact "$id" --facts --reason x --catalogue "$c"
expect "one word" 2 - "backup: name one folder" -- "$bin" backup --catalogue "$c"
expect "a backup" 0 "records, 0 files of runs, read again and compared" - -- "$bin" backup "$work/b" --catalogue "$c"
expect "never over another" 2 - "already exists" -- "$bin" backup "$work/b" --catalogue "$c"
expect "nor where nothing can be made" 1 - "cannot be written" -- "$bin" backup /proc/b --catalogue "$c"
expect "as data" 0 '"schema": "upthrust-backup-1"' - -- "$bin" backup "$work/b2" --json --catalogue "$c"
expect "the copy is whole" 0 "facts taken away, x" - -- "$bin" check-catalogue --catalogue "$work/b"
expect "nothing private" 2 - "nothing private is kept of 3f2a" -- "$bin" private 3f2a --catalogue "$c"
head -c 20000 /dev/urandom >"$work/noise"
mkdir "$work/d"
cp "$work/noise" "$work/d/catalogue.sqlite"
expect "noise" 2 - "nothing of .* can be read" -- "$bin" check-catalogue --salvage "$work/s" --catalogue "$work/d"
expect "alone" 2 - "--salvage stands alone" -- "$bin" check-catalogue --salvage "$work/s" --take-back x --catalogue "$work/d"
expect "a sound one is saved whole" 0 "sound records, 0 files of runs; 0 records lost" - -- "$bin" check-catalogue --salvage "$work/s" --catalogue "$c"
expect "with what was taken away" 0 "facts taken away, x" - -- "$bin" check-catalogue --catalogue "$work/s"
sqlite3 "$c/catalogue.sqlite" "PRAGMA user_version = 8"
expect "a number that was set back: read for what it is" 0 "every record is what was stored" - -- "$bin" check-catalogue --catalogue "$c"
expect "and put right" 0 "size M" - -- "$bin" item edit "My fin" --size M --catalogue "$c"
expect "the number" 0 "^10$" - -- sqlite3 "$c/catalogue.sqlite" "PRAGMA user_version"
sqlite3 "$c/catalogue.sqlite" "PRAGMA user_version = 11"
expect "a newer file is not touched" 2 - "made by a newer upthrust" -- "$bin" backup "$work/b3" --catalogue "$c"
[ -z "$(find "$work" -name '*.part-*')" ] && say yes "nothing is left half made" || say no "nothing is left half made"
finish
