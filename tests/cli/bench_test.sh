#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Whose records count, as a person asks for it: keys, trust, recalls, and what is told of them.
. "$(dirname "$0")/tap.sh"
ours=$work/ours theirs=$work/theirs
up() { "$bin" "$@"; }
key_of() { # catalogue
    up bench list --json --catalogue "$1" | sed -n 's/.*"writer": "\([0-9a-f]*\)".*/\1/p' | head -n 1
}
up item add --name Fin --kind fin --catalogue "$ours" >/dev/null
up item add --name "Their fin" --kind fin --catalogue "$theirs" >/dev/null
up merge "$ours" --catalogue "$theirs" >/dev/null
up item edit Fin --size L --catalogue "$theirs" >/dev/null 2>&1
key=$(key_of "$theirs") mine=$(key_of "$ours")
third=$work/third
up merge "$theirs" --catalogue "$third" >/dev/null

expect "verb" 2 - "bench: give list, trust" -- up bench --catalogue "$ours"
expect "no key" 2 - "give one key" -- up bench trust --as bench --name x --catalogue "$third"
expect "no role" 2 - "give --as" -- up bench trust "$key" --name x --catalogue "$third"
expect "a role that is none" 2 - "is not a role" -- up bench trust "$key" --as king --name x --catalogue "$third"
expect "a beginning that is none" 2 - "begins no key" -- up bench trust xyzw --as bench --name x --catalogue "$third"
expect "a stranger's version waits" 0 "by a writer who may not change the thing" - -- up check-catalogue --catalogue "$third"
expect "it is not shown" 0 "size -" - -- up item show Fin --catalogue "$third"
expect "trusted by a beginning" 0 "is trusted in this catalogue as editor: the shop" - -- up bench trust "$(echo "$key" | cut -c1-8)" --as editor --name "the shop" --catalogue "$third"
expect "the editor's version counts" 0 "size L" - -- up item show Fin --catalogue "$third"
expect "listed" 0 "$(echo "$key" | cut -c1-8)  the shop +editor" - -- up bench list --catalogue "$third"
expect "own, with the whole key" 0 "^ +$key$" - -- up bench list --catalogue "$theirs"
expect "distrust" 0 "is not trusted" - -- up bench distrust "$key" --reason "it was sold" --catalogue "$third"
expect "and why" 0 "  it was sold" - -- up bench list --catalogue "$third"
expect "listed as not trusted" 0 "not trusted" - -- up bench list --catalogue "$third"
expect "its version waits again" 0 "size -" - -- up item show Fin --catalogue "$third"
expect "vouch" 0 "is the key of A shop" - -- up bench vouch "$key" --name "A shop" --catalogue "$ours"
expect "recall without an end" 2 - "give --to" -- up bench recall --from 2 --reason x --catalogue "$theirs"
expect "recall backwards" 2 - "to: give a number from 5|--to 2" -- up bench recall --from 5 --to 2 --reason x --catalogue "$theirs"
expect "recall of nothing" 2 - "no record from number 900 to 901 of the key" -- up bench recall --from 900 --to 901 --reason x --catalogue "$theirs"
expect "recall of another's" 0 "without effect here" - -- up bench recall "$mine" --from 2 --to 2 --reason "I say so" --catalogue "$theirs"
expect "it is shown" 0 "has no effect here" - -- up bench list --catalogue "$theirs"
expect "recall" 0 "it counts here" - -- up bench recall --from 2 --to 2 --reason "wrong scale" --catalogue "$theirs"
expect "what was recalled is told" 0 "left out, number 2 of .*wrong scale" - -- up check-catalogue --catalogue "$theirs"
expect "it is in no list" 2 - "no item" -- up item show "Their fin" --catalogue "$theirs"
expect "new key" 0 "^[0-9a-f]{64}$" - -- up bench new-key --catalogue "$theirs"
expect "revoke without a reason" 2 - "give --reason" -- up bench revoke "$key" --last 3 --catalogue "$theirs"
expect "revoke after a record that is not there" 2 - "there is no record number 99" -- up bench revoke "$key" --last 99 --reason x --catalogue "$theirs"
last=$(up bench list --json --catalogue "$theirs" | sed -n "/\"writer\": \"$key\"/,/}/s/.*\"last_sequence\": \([0-9]*\).*/\1/p;" | head -n 1)
expect "revoke" 0 "it counts here" - -- up bench revoke "$key" --last "${last:-6}" --reason "the laptop was stolen" --catalogue "$theirs"
expect "revoked is told" 0 "revoked after number .*the laptop was stolen" - -- up bench list --catalogue "$theirs"
expect "json" 0 '"schema": "upthrust-benches-1"' - -- up bench list --json --catalogue "$theirs"
up bench list --catalogue "$theirs" >"$work/out" 2>"$work/err"
[ "$(awk 'length > 80' "$work/out" | wc -l)" -eq 0 ] && say yes "80 columns" || say no "80 columns"

d=$work/demo c=$work/demo/catalogue
up demo --dir "$d" --seed 5 --json >"$work/demo.json" 2>"$work/err"
# What was recalled is explained by nobody, and both commands say why.
up explain "Plover fin" --json --catalogue "$c" >"$work/explained.json" 2>"$work/err"
member() { sed -n "s/^  \"$1\": \"*\([0-9a-f-]*\).*/\1/p" "$work/explained.json"; }
number=$(member writer_sequence) result=$(member result_id)
expect "recalled" 0 "it counts here" - -- "$bin" bench recall --from "$number" --to "$number" --reason "wrong masses" --catalogue "$c"
expect "a recalled result" 2 - "is left out of every list and figure .recalled.: .*wrong masses" -- "$bin" explain "$result" --catalogue "$c"
expect "an item without others" 2 - "some are left out, .*wrong masses" -- "$bin" explain "Plover fin" --catalogue "$c"
expect "show notes it" 0 "" "note: 1 result is left out: .*wrong masses" -- "$bin" show "Plover fin" --catalogue "$c"
finish
