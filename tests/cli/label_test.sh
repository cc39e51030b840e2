#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Labels as files, read back by other programs: the words by poppler, the code by a bar code reader.
. "$(dirname "$0")/tap.sh"
here=$(cd "$(dirname "$0")" && pwd)
case $bin in /*) ;; *) bin=$PWD/$bin ;; esac
for tool in pdftotext pdftoppm zbarimg; do
    command -v $tool >/dev/null 2>&1 && continue
    if [ -n "${CI:-}" ]; then echo "not ok 1 - $tool is not installed"; else echo "ok 1 - labels # SKIP $tool is not installed"; fi
    echo 1..1
    exit 0
done
cd "$work" || exit 2
export UPTHRUST_CATALOGUE="$work/catalogue"
expect "no catalogue yet" 1 - "item add" -- "$bin" label --to a.pdf
"$bin" item add --name "Bare fin" --kind fin >/dev/null || exit 2
expect "nothing measured yet" 1 - "measure an item first" -- "$bin" label --to a.pdf
[ ! -e a.pdf ] && say yes "and no file" || say no "and no file"
"$bin" demo --dir demo --seed 3 >/dev/null 2>&1
export UPTHRUST_CATALOGUE="$work/demo/catalogue"
"$bin" item add --name "Bare fin" --kind fin >/dev/null || exit 2

expect "one label" 0 "^a.pdf: 1 label on 1 page$" - -- "$bin" label --item "Heron fin" --to a.pdf
"$bin" label --item "Heron fin" --to b.pdf >/dev/null
cmp -s a.pdf b.pdf && say yes "the same bytes again" || say no "the same bytes again"
pdftotext -layout a.pdf "$work/out"
for words in "SIMULATED: no gear was weighed" "Heron fin" "Fresh water" "Sea water" "NEGATIVE: sinks" \
    "− ?[0-9.]+ g DOWN" "calculated" "this one piece, not the model" "unchecked" \
    "A weight check in the water decides" "Not a conformity test of lifejackets" "bench simulated-tank"; do
    tr '\n' ' ' <"$work/out" | tr -s ' ' | grep -qE "$words" && say yes "it says: $words" || say no "it says: $words"
done
expect "all that were measured" 0 "14 labels on 14 pages" "^note: 1 item without a result left out$" -- "$bin" label --to all.pdf
expect "on sheets" 0 "14 labels on 4 pages" "" -- "$bin" label --sheet --to sheets.pdf
expect "a class alone" 0 "labels? on" - -- "$bin" label --class positive --water sea --to up.pdf
pdftotext up.pdf - | grep -q "NEGATIVE" && say no "and no other" || say yes "and no other"
expect "as a picture" 0 "^a.svg: 1 label" - -- "$bin" label --item "Heron fin" --to a.svg
python3 -c 'import sys, xml.dom.minidom as x; d = x.parse("a.svg").documentElement; sys.exit(d.getAttribute("width") != "74mm" and not d.getAttribute("width").startswith("209.7"))' >"$work/out" 2>&1 && say yes "which is well-formed, of its size" || say no "which is well-formed, of its size"
expect "several as a picture" 2 - "an .svg holds one label" -- "$bin" label --to a.svg
expect "another kind of file" 2 - "ends with .pdf or .svg" -- "$bin" label --item "Heron fin" --to a.jpg
expect "no file named" 2 - "give --to" -- "$bin" label
expect "no such size" 2 - "74x105mm" -- "$bin" label --size 10x10mm --to c.pdf
expect "too small for its words" 2 - "it takes [0-9]+x[0-9]+mm" -- "$bin" label --item "Heron fin" --size 25x15mm --to c.pdf
[ ! -e c.pdf ] && say yes "and no file" || say no "and no file"
tall=$(sed -n 's/.*it takes \([0-9]*x[0-9]*mm\).*/\1/p' "$work/err")
expect "the size that it names has room" 0 "" "no room for the QR code" -- "$bin" label --item "Heron fin" --size "$tall" --to c.pdf
expect "too large for a sheet" 2 - "leave out --sheet" -- "$bin" label --sheet --size 210x100mm --to c.pdf
expect "a folder that is not there" 1 - "nowhere" -- "$bin" label --item "Heron fin" --to nowhere/a.pdf
expect "a link that hides something" 2 - "--link-base" -- "$bin" label --item "Heron fin" --link-base "https://x/ y" --to c.pdf
expect "words and an item" 2 - "not both" -- "$bin" label --item "Heron fin" fin --to c.pdf

# ---- the code, as printed at 300 dots an inch ----
id=$("$bin" show "Heron fin" --json | python3 -c 'import json, sys; print(json.load(sys.stdin)["item"]["item_id"])')
[ ${#id} -eq 36 ] || exit 2
for size in 50x80mm 74x105mm 210x297mm; do
    "$bin" label --item "Heron fin" --size $size --to q.pdf >/dev/null 2>&1
    pdftoppm -r 300 -png -singlefile q.pdf q
    read=$(zbarimg -q --raw q.png 2>/dev/null)
    echo "$read" >"$work/out"
    [ "$read" = "$id" ] && say yes "the code on $size is the id" || say no "the code on $size is the id"
done
"$bin" label --item "Heron fin" --link-base "https://example.org/gear#" --to q.pdf >/dev/null
pdftoppm -r 300 -png -singlefile q.pdf q
[ "$(zbarimg -q --raw q.png 2>/dev/null)" = "https://example.org/gear#$id" ] && say yes "the link before it" || say no "the link before it"

# ---- strips for label printers ----
expect "a strip" 0 "^s.pdf: 14 labels on 14 pages$" "no room for the pictures on 14 labels" -- "$bin" label --size 62x29mm --to s.pdf
grep -q "QR code" "$work/err" && say no "each with its code" || say yes "each with its code"
pdftoppm -r 300 -png s.pdf strip
"$bin" item list --json | python3 -c 'import json, sys; print("\n".join(i["item_id"] for i in json.load(sys.stdin)["items"]))' | sort >ids
for picture in strip-*.png; do zbarimg -q --raw $picture 2>/dev/null; done | sort >read
[ "$(wc -l <read)" -eq 14 ] && [ -z "$(comm -23 read ids)" ] && say yes "which is read at 300 dots an inch" || say no "which is read at 300 dots an inch"
for page in 1 2 3 4 5 6 7 8 9 10 11 12 13 14; do
    pdftotext -layout -f $page -l $page s.pdf - | tr '\n' ' ' | tr -s ' ' >"$work/out"
    grep -q "SIMULATED: " "$work/out" && grep -qE "g (UP|DOWN)" "$work/out" && grep -qE "(Fresh|Tank|The tank)" "$work/out" &&
        grep -q "not the model" "$work/out" && grep -q "unchecked" "$work/out" && grep -qE "calculated|measured" "$work/out" &&
        grep -q "weight check" "$work/out" && grep -q "conformity" "$work/out" || echo "strip $page lacks something"
done >lacking
cp lacking "$work/out"
[ ! -s lacking ] && say yes "with water, sign and cautions" || say no "with water, sign and cautions"
pdftotext -bbox s.pdf boxes.html
python3 "$here/label_boxes.py" boxes.html 62x29mm >"$work/out" 2>&1 && say yes "62x29mm: apart, inside, 7 points at least" || say no "62x29mm: apart, inside, 7 points at least"
for size in 54x25mm 40x25mm 30x20mm 25x15mm 15x25mm; do
    expect "$size has one clear answer" 2 - "^upthrust: a label of $size has no room .* it takes [0-9]+x[0-9]+mm$" -- "$bin" label --item "Heron fin" --size $size --to t.pdf
    [ ! -e t.pdf ] || say no "and no file"
done

# ---- without any font ----
echo '<?xml version="1.0"?><fontconfig><dir>/nowhere</dir></fontconfig>' >fonts.conf
FONTCONFIG_FILE=$PWD/fonts.conf expect "no font" 1 - "this machine has no font; install one" -- "$bin" label --item "Heron fin" --to none.pdf
[ ! -e none.pdf ] && say yes "and no file" || say no "and no file"
unset FONTCONFIG_FILE

# ---- a water of one's own ----
"$bin" decide --item "Heron fin" --water quarry,temp_c=8,salinity_g_kg=0.3 >/dev/null || exit 2
expect "another water" 0 "1 label" - -- "$bin" label --item "Heron fin" --water quarry --water sea --to w.pdf
pdftotext w.pdf "$work/out"
grep -q "quarry, 8.0 °C" "$work/out" && grep -q "Sea water" "$work/out" && ! grep -q "Fresh water" "$work/out" && say yes "it and no other" || say no "it and no other"
expect "three waters" 2 - "room for two waters" -- "$bin" label --item "Heron fin" --water a --water b --water c --to w.pdf
"$bin" page --to quarry-page >/dev/null
grep -l "quarry, 8.0 °C" quarry-page/i/*.html | wc -l >"$work/out"
[ "$(cat "$work/out")" -eq 1 ] && say yes "a page shows it too" || say no "a page shows it too"

# ---- room: boxes of words, as poppler sees them ----
"$bin" item rename "Heron fin" "$(printf '<b>&amp;</b> $(touch MARK) \327\251\327\234\327\225\327\235 %s' wwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwww)" >/dev/null || exit 2
for size in 60x90mm 74x105mm 105x74mm 210x297mm 297x210mm; do
    rm -f all.pdf
    "$bin" label --size $size --to all.pdf >/dev/null 2>&1
    pdftotext -bbox all.pdf boxes.html
    python3 "$here/label_boxes.py" boxes.html $size >"$work/out" 2>&1 && say yes "$size: apart, inside, 7 points at least" || say no "$size: apart, inside, 7 points at least"
done
pdftotext all.pdf - | tr '\n' ' ' | grep -q '<b>&amp;</b> $(touch MARK)' && [ ! -e MARK ] && say yes "a hostile name stands as it is" || say no "a hostile name stands as it is"

finish
