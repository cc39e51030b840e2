#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Whose calibration is it: two shops, a second laptop, a backup, and the example rig files.
. "$(dirname "$0")/tap.sh"
here=$(dirname "$0")
if python3 "$here/two_shops.py" "$bin" "$bin-tank" "$work/shops" >"$work/out" 2>"$work/err"; then
    say yes "a calibration from elsewhere is used after a known mass: $(cat "$work/out")"
else say no "a calibration from elsewhere is used after a known mass"; fi

# Each example but that of the simulated tank wants an id of its own first.
for rig in "$here"/../../rigs/*.ini; do
    name=$(basename "$rig")
    case $name in simulated.ini) continue ;; esac
    expect "$name: the id is an example's" 2 - "the id .* is that of an example" -- "$bin" calibrate --rig "$rig" --masses-g 500,1000,2000 --operator json --catalogue "$work/none"
    expect "$name: the same for measure" 2 - "is that of an example" -- "$bin" measure --rig "$rig" --item x --operator json --catalogue "$work/none"
done

c=$work/c
"$bin" item add --name "My fin" --kind fin --catalogue "$c" >"$work/item"
cp -r "$c" "$work/theirs"
"$bin" item edit "My fin" --size XL --catalogue "$work/theirs" >/dev/null
expect "a dry run counts" 0 "would take 2 new records, 2 already here" - -- "$bin" merge "$work/theirs" --catalogue "$c" --dry-run
expect "what it touches" 0 "1 new version of what was made here, 0 results of your items, 0 calibrations" - -- "$bin" merge "$work/theirs" --catalogue "$c"
expect "as data" 0 '"records_known": 4' - -- "$bin" merge "$work/theirs" --catalogue "$c" --json
expect "mine is shown" 0 "size -" - -- "$bin" item show "My fin" --catalogue "$c"
expect "accepted" 0 "size XL" - -- "$bin" item accept "My fin" --catalogue "$c"
expect "once only" 2 - "no version from elsewhere waits" -- "$bin" item accept "My fin" --catalogue "$c"
expect "a dry run makes no catalogue" 1 - "there is no catalogue" -- "$bin" merge "$c" --catalogue "$work/fresh" --dry-run

"$bin" item add --name "coco" --kind fin --catalogue "$work/alike" >"$work/item" 2>&1
expect "a name in other letters that look the same" 0 "fin, one piece" "its name looks like that of .coco" -- "$bin" item add --name "$(printf '\321\201\320\276\321\201\320\276')" --kind fin --catalogue "$work/alike"
expect "a hidden character is shown" 0 "fi.n" - -- "$bin" item add --name "$(printf 'fi\342\200\213n')" --kind fin --catalogue "$work/alike"
expect "all is as it was stored" 0 "every record is what was stored" - -- "$bin" check-catalogue --catalogue "$c"
id=$(sqlite3 "$c/catalogue.sqlite" "SELECT id FROM record ORDER BY rowid DESC LIMIT 1")
sqlite3 "$c/catalogue.sqlite" "DROP TRIGGER record_kept; UPDATE record SET body = replace(body, 'XL', 'XS') WHERE id = '$id'; CREATE TRIGGER record_kept BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
expect "a digit that changed" 2 "$id  item of .*: damaged" "damaged records: 1" -- "$bin" check-catalogue --catalogue "$c"
expect "is not shown" 2 - "the record $id .* is damaged" -- "$bin" item list --catalogue "$c"
expect "a reason is wanted" 2 - "give --set-aside ID with --reason" -- "$bin" check-catalogue --set-aside "$id" --catalogue "$c"
expect "set aside" 0 "set aside" - -- "$bin" check-catalogue --set-aside "$id" --reason "a bad disk" --catalogue "$c"
expect "the others are shown" 0 "My fin" - -- "$bin" item list --catalogue "$c"
expect "and it is told" 0 "set aside, a bad disk" - -- "$bin" check-catalogue --catalogue "$c"
expect "as findings" 0 '"finding": "set aside"' - -- "$bin" check-catalogue --catalogue "$c" --json
"$bin" check-catalogue --set-aside "$id" --reason "$(printf 'x%0400d' 0 | sed 's/0/\xc3\xbc/g')" --catalogue "$c" >/dev/null
expect "a reason that is cut within a letter" 0 '"finding": "set aside"' - -- "$bin" check-catalogue --catalogue "$c" --json
expect "taken back" 0 "counts again" - -- "$bin" check-catalogue --take-back "$id" --catalogue "$c"
b=$work/b
"$bin" body add --name Steel --mass-g 1000 --u-mass-g 0.1 --volume-cm3 127 --u-volume-cm3 0.1 --catalogue "$b" >/dev/null
expect "a body's origin" 0 "Steel  <" - -- sh -c "'$bin' merge '$b' --catalogue '$work/third' >/dev/null && '$bin' body list --catalogue '$work/third'"
expect "and as data" 0 '"elsewhere": true' - -- "$bin" body list --json --catalogue "$work/third"
"$bin" body edit Steel --mass-g 1001 --catalogue "$work/third" >/dev/null
expect "what accepts a body" 0 "Those of bodies, kinds and the rest are kept" - -- "$bin" merge "$work/third" --catalogue "$b"
expect "no word of items" 0 "" - -- sh -c "'$bin' body edit Steel --mass-g 1002 --catalogue '$work/third' >/dev/null; ! '$bin' merge '$work/third' --catalogue '$b' | grep 'item accept'"
# As from before records were signed: a hash that leaves out the id, which anybody can compute.
python3 "$here/rehash.py" "$work/theirs"
"$bin" export --format json --to "$work/copied" --catalogue "$work/theirs" >/dev/null
python3 -c 'import json, sys
path = sys.argv[1]
document = json.load(open(path))
document["items"][0]["id"] = "11111111-2222-3333-4444-555555555555"
json.dump(document, open(path, "w"))' "$work/copied/catalogue.json"
expect "a copy under another id keeps nothing out" 0 "1 only copy a record that has another id" - -- "$bin" import "$work/copied/catalogue.json" --catalogue "$work/theirs"
expect "and changes nothing" 0 "size XL" - -- "$bin" item show "My fin" --catalogue "$work/theirs"
expect "its own versions alone are replaced by an edit" 0 "" - -- sh -c "! '$bin' item edit 'My fin' --note new --catalogue '$c' 2>&1 | grep 'now replaced'"
g=$work/guests
"$bin" merge "$work/theirs" --catalogue "$g" >/dev/null
expect "an item from elsewhere is marked in the list" 0 " <$" - -- "$bin" item list --catalogue "$g"
expect "and on its sheet" 0 "< came from elsewhere, by import or merge" - -- "$bin" show "My fin" --catalogue "$g"
expect "and alone" 0 "My fin  <" - -- "$bin" item show "My fin" --catalogue "$g"
expect "and as data" 0 '"elsewhere": true' - -- "$bin" item list --json --catalogue "$g"
expect "and where it is shown as data" 0 '"elsewhere": true' - -- "$bin" item show "My fin" --json --catalogue "$g"
cp -r "$work/theirs" "$work/forger"
sqlite3 "$work/forger/catalogue.sqlite" "DROP TRIGGER record_kept; UPDATE record SET body = replace(body, 'My fin', 'Thy fin'); CREATE TRIGGER record_kept BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
python3 "$here/rehash.py" "$work/forger"
expect "another content under each id" 0 "3 with other content under the id of a record here" - -- "$bin" merge "$work/forger" --catalogue "$g"
expect "none counts" 0 "nothing is measured yet" - -- "$bin" item list --catalogue "$g"
expect "each is named with its hash" 0 'set aside, another catalogue has other content under this id, [0-9a-f]{64}, "(My|Thy) fin"' - -- "$bin" check-catalogue --catalogue "$g"
"$bin" merge "$work/forger" --catalogue "$work/turned" >/dev/null && "$bin" merge "$work/theirs" --catalogue "$work/turned" >/dev/null
"$bin" check-catalogue --catalogue "$g" >"$work/one-order"
expect "the same in the other order" 0 "" - -- sh -c "'$bin' check-catalogue --catalogue '$work/turned' | cmp - '$work/one-order'"
id=$(sqlite3 "$g/catalogue.sqlite" "SELECT id FROM record WHERE body LIKE '%XL%' AND id NOT LIKE '11111111%'")
hash=$(sqlite3 "$work/theirs/catalogue.sqlite" "SELECT substr(sha256, 1, 10) FROM record WHERE id = '$id'")
expect "one of several is named by its hash" 2 - "2 contents have the id $id: .*--take-back $id/HASH" -- "$bin" check-catalogue --take-back "$id" --catalogue "$g"
expect "and taken" 0 "counts again" - -- "$bin" check-catalogue --take-back "$id/$hash" --catalogue "$g"
expect "it counts" 0 "My fin  <" - -- "$bin" item show "My fin" --catalogue "$g"
# A simulated measurement says so for ever: on a bench whose name does not, in another catalogue, merged or imported.
s=$work/simulated
"$bin" demo --dir "$s" --seed 5 --json >"$work/demo" 2>"$work/err"
python3 "$here/rehash.py" "$s/catalogue"
sqlite3 "$s/catalogue/catalogue.sqlite" "DROP TRIGGER record_kept; UPDATE record SET bench = replace(bench, 'simulated-tank', 'shed'), body = replace(body, 'simulated-tank', 'shed'); CREATE TRIGGER record_kept BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
python3 "$here/rehash.py" "$s/catalogue"
"$bin" item add --name "My fin" --kind fin --catalogue "$work/merged" >"$work/item"
cp -r "$work/merged" "$work/imported"
"$bin" export --format json --to "$s/out" --catalogue "$s/catalogue" >"$work/exported"
expect "a demonstration is merged" 0 "[1-9][0-9]+ new records" - -- "$bin" merge "$s/catalogue" --catalogue "$work/merged"
expect "and imported" 0 "[1-9][0-9]+ new records" - -- "$bin" import "$s/out/catalogue.json" --catalogue "$work/imported"
for way in merged imported; do
    m=$work/$way
    expect "$way: the list says simulated" 0 "^simulated: Plover fin " - -- "$bin" item list --catalogue "$m"
    [ "$(grep -c "^simulated: " "$work/out")" = 14 ] && grep -q "^My fin " "$work/out" && say yes "$way: of each, and of no other" || say no "$way: of each, and of no other"
    expect "$way: so does the sheet" 0 "^    simulated: no gear was weighed$" - -- "$bin" show "Plover fin" --catalogue "$m"
    expect "$way: as data" 0 '"simulated": true' - -- "$bin" show "Plover fin" --json --catalogue "$m"
    expect "$way: and its explanation" 0 "simulated, no gear was weighed" - -- "$bin" explain "Plover fin" --catalogue "$m"
    "$bin" export --format csv --to "$m/out" --catalogue "$m" >"$work/out" && "$bin" export --format json --to "$m/out" --catalogue "$m" >"$work/out"
    python3 -c 'import csv, json, sys
rows = list(csv.DictReader(open(sys.argv[1] + "/results.csv")))
kept = json.load(open(sys.argv[1] + "/catalogue.json"))["results"]
assert len(rows) == len(kept) > 30 and {r["bench"] for r in rows} == {"shed"}, rows
assert {r["simulated"] for r in rows} == {"true"} and all(r["simulated"] is True for r in kept), rows
assert all(r["claim"].startswith("simulated, no gear was weighed: ") for r in rows), rows' "$m/out" >"$work/out" 2>"$work/err" &&
        say yes "$way: each exported result" || say no "$way: each exported result"
    if command -v pdftotext >/dev/null; then
        "$bin" label --item "Plover fin" --to "$m/label.pdf" --catalogue "$m" >"$work/out" && pdftotext "$m/label.pdf" - | grep -q "SIMULATED: no gear was weighed" &&
            say yes "$way: a label" || say no "$way: a label"
    fi
    "$bin" page --to "$m/page" --single --catalogue "$m" >"$work/out" && [ "$(grep -o "SIMULATED: no gear was weighed" "$m/page/index.html" | grep -c .)" = 14 ] &&
        say yes "$way: each page" || say no "$way: each page"
    "$bin" plot --to "$m/drawn" --catalogue "$m" >"$work/out" && "$bin" plot --item "Plover fin" --to "$m/drawn" --catalogue "$m" >"$work/out"
    for picture in items calibration-1 waters trials; do
        drawn=yes
        for file in "$m"/drawn/$picture*.svg; do grep -q "SIMULATED: no gear was weighed" "$file" && grep -q "simulated: " "$file" || drawn=no; done
        say $drawn "$way: the picture $picture"
    done
done
finish
