#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# One weighing on paper, read back by another program (poppler). Beside each group the clause of ISO/IEC 17025:2017
# that asks for it (7.8.2.1 a to p, 7.8.3.1, 7.8.4.1, 7.8.6).
. "$(dirname "$0")/tap.sh"
case $bin in /*) ;; *) bin=$PWD/$bin ;; esac
for tool in pdftotext pdftoppm; do
    command -v $tool >/dev/null 2>&1 && continue
    if [ -n "${CI:-}" ]; then echo "not ok 1 - $tool is not installed"; else echo "ok 1 - reports # SKIP $tool is not installed"; fi
    echo 1..1
    exit 0
done
cd "$work" || exit 2
export UPTHRUST_CATALOGUE="$work/catalogue"
expect "no catalogue yet" 1 - "item add" -- "$bin" report --run latest --to a.pdf
"$bin" item add --name "Bare fin" --kind fin >/dev/null || exit 2
expect "nothing measured yet" 2 - "there is no result yet" -- "$bin" report --run latest --to a.pdf
[ ! -e a.pdf ] && say yes "and no file" || say no "and no file"
"$bin" demo --dir demo --seed 3 >/dev/null 2>&1
export UPTHRUST_CATALOGUE="$work/demo/catalogue"
run_of() { # item, water, member
    "$bin" explain "$1" --water "$2" --json | python3 -c 'import json, sys; d = json.load(sys.stdin); d = d.get("explanation", d); r = d["result"]
print({"run": r["run_id"], "net": "%.1f" % abs(r["buoyancy_g"]), "low": "%.1f" % abs(r["buoyancy_g"] - r["expanded_u_g"] - r["stuck_air_g"]), "u": "%.3f" % r["u_buoyancy_g"], "id": r["item_id"], "calibration": r["model"]["calibration_id"], "trials": len(d["trials"])}[sys.argv[1]])' "$3"
}
run=$(run_of "Heron fin" tank run)
[ ${#run} -eq 36 ] || exit 2
expect "a report" 0 "^a.pdf: run $(echo "$run" | cut -c1-8), [23] pages$" - -- "$bin" report --run "$run" --to a.pdf
"$bin" report --run "$(echo "$run" | cut -c1-8)" --to b.pdf >/dev/null
cmp -s a.pdf b.pdf && say yes "the same bytes again, by the beginning of the id" || say no "the same bytes again, by the beginning of the id"
"$bin" explain "Heron fin" --water tank --json >"$work/explained"
text() { pdftotext -layout "$1" - | tr '\n\f' '  ' | tr -s ' ' >"$work/out"; }
says() { # name words...
    name=$1; shift
    for words; do
        grep -qE -- "$words" "$work/out" && say yes "$name: $words" || say no "$name: $words"
    done
}
text a.pdf
says "a, title" "Report of a buoyancy measurement"
says "b, c, e, h, for a hand to fill in" "Owner, address" "Place of weighing" "For \(customer\)" "Received on"
says "d, which report, which page, where it ends" "Report $run" "Report $run of a buoyancy measurement, page 1 of [23]" \
    "page 2 of [23]" "End of report $run"
says "f, method" "Hydrostatic weighing" "b = −w k − air − line" "Rig file [0-9a-f]{64}"
says "g, item" "Item Heron fin" "Its id $(run_of "Heron fin" tank id)" "Kind fin" "Pieces one piece" "Holds gas no"
says "i, when" "Weighed on 20[0-9-]{8}, from [0-9:]{5} to [0-9:]{5} UTC"
says "j, o, who answers for it" "Issued Date" "Authorised by"
says "l, of what the results are" "It is of this one piece, not the model"
for water in tank fresh sea; do
    says "m, $water" "$water [0-9.]+ °C [0-9.]+ kg/m³ (measured|calculated) −$(run_of "Heron fin" $water net) g DOWN −$(run_of "Heron fin" $water low) g −[0-9.]+ g negative: sinks"
done
says "n, departures" "Remarks and departures from the method"
says "7.8.3.1, conditions" "Tank's water [0-9.]+ °C; salinity" "Air 1013 hPa; density 1.1[0-9]+ kg/m³"
says "7.8.4.1, uncertainty and masses" "Combined: standard uncertainty $(run_of "Heron fin" tank u) g" \
    "Calibration $(run_of "Heron fin" tank calibration), made 20" "Known masses 0.5, 1, 2, 4 kg, in 12 loadings" "Their certificate"
says "7.8.6, decision rule" "Neutral is within 50 g of zero" "at least 95 %; otherwise the item is undecided" \
    "positive above [+]5[0-9.]+ g, negative below −5[0-9.]+ g, neutral from −4[0-9.]+ to [+]4[0-9.]+ g"
says "what it is for" "SIMULATED: no gear was weighed" "A weight check in the water decides" "No accreditation is claimed" \
    "Not a conformity test of lifejackets" "unchecked: no reference body"
[ "$(pdftotext -layout a.pdf - | grep -cE '^ *[1-9] +[+]37[0-9.]+ +[0-9]+ ')" = "$(run_of "Heron fin" tank trials)" ] &&
    say yes "every trial" || say no "every trial"

# ---- without any font ----
echo '<?xml version="1.0"?><fontconfig><dir>/nowhere</dir></fontconfig>' >fonts.conf
FONTCONFIG_FILE=$PWD/fonts.conf expect "no font" 1 - "this machine has no font; install one" -- "$bin" report --run "$run" --to none.pdf
[ ! -e none.pdf ] && say yes "and no file" || say no "and no file"
unset FONTCONFIG_FILE

# ---- the same in other units, of other items ----
"$bin" report --run "$run" --to i.pdf --units imperial >/dev/null
text i.pdf
says "imperial" "−13.[0-9]+ oz DOWN" "6[0-9.]+ °F" "within 1.7[0-9]* oz of zero"
hood=$(run_of "Auk hood" tank run)
"$bin" report --run "$hood" --to h.pdf >/dev/null
text h.pdf
says "what holds gas" "the result holds at its depth only"
grep -q "fresh" "$work/out" && say no "no other water of it" || say yes "no other water of it"
expect "the latest run with a result" 0 "pages" - -- "$bin" report --run latest --to l.pdf

# ---- what is refused ----
calibration=$(sqlite3 "$UPTHRUST_CATALOGUE/catalogue.sqlite" "SELECT subject FROM run WHERE json_extract(body, '$.what') = 'calibrate' LIMIT 1" 2>/dev/null ||
    python3 -c 'import json, sqlite3, sys; print([s for s, b in sqlite3.connect(sys.argv[1] + "/catalogue.sqlite").execute("SELECT subject, body FROM record WHERE kind = \"run\"") if json.loads(b)["what"] == "calibrate"][0])' "$UPTHRUST_CATALOGUE")
expect "a run of calibrate" 2 - "is one of .calibrate." -- "$bin" report --run "$calibration" --to c.pdf
expect "no such run" 2 - "no run begins with" -- "$bin" report --run 00000000 --to c.pdf
expect "no run named" 2 - "give --run ID" -- "$bin" report --to c.pdf
expect "another kind of file" 2 - "ends with .pdf" -- "$bin" report --run latest --to c.txt
expect "a folder that is not there" 1 - "nowhere" -- "$bin" report --run latest --to nowhere/c.pdf
[ ! -e c.pdf ] && say yes "and no file" || say no "and no file"

# ---- a hostile name ----
"$bin" item edit "Heron fin" --name "$(printf 'A <b>fin</b> `x` %%s \342\200\256gnp مرحبا %0100d' 7)" >/dev/null 2>&1 ||
    "$bin" item edit "Heron fin" --name "A <b>fin</b> \`x\` %s مرحبا $(printf '%0100d' 7)" >/dev/null
expect "a hostile name" 0 "pages" - -- "$bin" report --run "$run" --to n.pdf
pdftotext n.pdf "$work/out"
says "as it stands" "<b>fin</b> .x. %s"
finish
