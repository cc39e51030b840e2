#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A kit file through the program: examples worked by hand, and what a person can get wrong in one.
. "$(dirname "$0")/tap.sh"
case $bin in /*) ;; *) bin=$PWD/$bin ;; esac
cd "$work" || exit 2
unset UPTHRUST_CATALOGUE
"$bin" kit example >example.json || exit 2

# kit NAME: the example with a change (Python, the document is k), as NAME.json
kit() {
    name=$1; shift
    python3 - "$name.json" "$@" <<'P'
import json, sys
k = json.load(open("example.json"))
for change in sys.argv[2:]:
    exec(change)
json.dump(k, open(sys.argv[1], "w"))
P
}
refused() { # what, pattern, change
    kit wrong "$3"
    expect "$1" 2 - "$2" -- "$bin" kit report wrong.json
}

expect "the example is answered" 0 "A weight check in the water decides" - -- "$bin" kit report example.json
expect "cautions come first" 0 "never replaces one" - -- sh -c "'$bin' kit report example.json | head -n 1"
expect "an unknown word" 2 - "kit example" -- "$bin" kit plan
expect "no such file" 2 - "nowhere.json" -- "$bin" kit report nowhere.json
printf '{"schema":' >half.json
expect "half a file" 2 - "half.json, line 1" -- "$bin" kit report half.json
refused "a mistyped key" "wrong.json: parts\[1\]\.water_volume_litres: this key is not known" 'k["parts"][1]["water_volume_litres"] = 12'
refused "a part without a volume" "parts\[4\]\.volume_l" 'del k["parts"][4]["volume_l"], k["parts"][4]["u_volume_l"]'
refused "lead that cannot be" "parts\[0\]\.mass_kg" 'k["parts"][0]["mass_kg"] = 400'
refused "pressure below nothing" "checks\[0\]\.pressure_bar" 'k["checks"][0]["pressure_bar"] = -5'
refused "pressure above the rating" "rated for 232 bar" 'k["checks"][0]["pressure_bar"] = 300'
refused "a stop below the bottom" "lies below the bottom" 'k["dive"]["deepest_m"] = 3'
refused "a reserve above the start" "reserve must be below" 'k["dive"]["reserve_bar"] = 200; k["dive"]["start_bar"] = 190'
refused "a check with gas in the jacket" "let all of it out" 'k["checks"][0]["jacket_gas_kg"] = 2'
refused "no check at all" "no weight check yet" 'k["checks"] = []'
refused "lead in a check that is no part" "no lead of this name" 'k["checks"][0]["lead_kg"] = {"pocket": 1}'
refused "a water nobody knows" "no water of this name" 'k["dive"]["water"] = "Styx"'
refused "a drysuit" "beyond this program" 'k["parts"][2]["kind"] = "drysuit"'
refused "decompression" "decompression are beyond this program" 'k["dive"]["deco_stops"] = [9, 6]'
refused "several gases" "several gases are beyond" 'k["parts"].append({**k["parts"][1], "name": "stage", "oxygen_percent": 32})'
refused "a composite cylinder" "parts\[1\]\.metal: give one of: steel aluminium" 'k["parts"][1]["metal"] = "carbon"'
refused "ditchable lead to a fixed place" "moves\[0\]\.to: ditchable lead is not moved to a fixed place" \
    'k["parts"].append({"name": "band", "kind": "lead", "mass_kg": 1, "place_m": 0.3}); k["moves"] = [{"from": "belt", "to": "band", "kg": 1}]'
refused "more lead than is there" "moves\[0\]\.kg: only 6 kg are there" \
    'k["parts"].append({"name": "pocket", "kind": "lead", "mass_kg": 1, "place_m": 0.3, "ditchable": True}); k["moves"] = [{"from": "belt", "to": "pocket", "kg": 7}]'
refused "a move of lead whose place is missing" "give its place_m" \
    'k["parts"].append({"name": "pocket", "kind": "lead", "mass_kg": 1, "ditchable": True}); k["moves"] = [{"from": "belt", "to": "pocket", "kg": 1}]'
refused "a lake's altitude and its air pressure" "not both" 'k["dive"]["altitude_m"] = 500; k["dive"]["air_pressure_hpa"] = 950'
refused "a lake in the clouds" "altitude_m: give a number from -430 to 4200" 'k["dive"]["altitude_m"] = 6000'
refused "a spare for nothing" "parts\[6\]\.instead_of: no part of this name" 'k["parts"].append({"name": "new", "mass_kg": 1, "volume_l": 1, "instead_of": "old"})'
refused "a schema of another year" "upthrust-kit-1" 'k["schema"] = "upthrust-kit-9"'
refused "a gas nobody knows" "oxygen_percent" 'k["parts"][1]["oxygen_percent"] = 100'
refused "two parts of one name" "another part has this name" 'k["parts"][5]["name"] = "belt"'
refused "an item without a catalogue" "no catalogue" 'k["parts"].append({"name": "torch", "item": "Float light"})'
kit lake 'k["dive"]["altitude_m"] = 2000'
expect "a mountain lake, standard atmosphere" 0 "under air of 795 hPa" - -- "$bin" kit report lake.json
kit unknown 'k["parts"][2]["gas_l"] = None; k["parts"][4]["volume_l"] = None; k["parts"][4]["u_volume_l"] = None; del k["parts"][4]["place_m"]'
expect "what is not known stays so" 0 "regulator +its place is missing: give place_m" - -- "$bin" kit report unknown.json
kit squeezed 'k["parts"][3]["lift_kg"] = 9'
expect "a jacket too small for what is to be added" 0 "with the lead to add MORE than the jacket's 9.0 kg can carry" - -- "$bin" kit report squeezed.json
kit light 'k["parts"][1]["metal"] = "aluminium"; k["parts"][1]["empty_mass_kg"] = 14.3'
expect "an aluminium cylinder turns positive" 0 "it turns positive between [0-9]+ and [0-9]+ bar" - -- "$bin" kit report light.json
kit surplus 'k["checks"] = [{**c, "lead_kg": {"belt": 1}} for c in k["checks"]]'
expect "what lead costs that is too much" 0 "Here from [0-9.]+ to [0-9.]+ kg may be too much: up to [0-9.]+ l" - -- "$bin" kit report surplus.json
expect "lead taken off is to be checked first" 0 "check in the water before you take any off" - -- "$bin" kit report surplus.json
kit moved 'k["parts"].append({"name": "pocket", "kind": "lead", "mass_kg": 0, "place_m": 0.3, "ditchable": True}); k["parts"].append({"name": "band", "kind": "lead", "mass_kg": 2, "place_m": 0.3})'
expect "moves of lead" 0 "1.0 kg from belt to pocket" - -- "$bin" kit report moved.json
grep -q "from belt to band" "$work/out" && say no "none of ditchable lead to a fixed place" || say yes "none of ditchable lead to a fixed place"
# A verdict needs 20 predictions, and so 21 checks.
kit few 'k["checks"] = [k["checks"][0]] * 20'
expect "19 predictions" 0 "19 of 19 inside .* 82 to 100 of 100 .*too few for a verdict" - -- "$bin" kit report few.json
kit many 'k["checks"] = [k["checks"][0]] * 21'
expect "20 predictions" 0 "20 of 20 inside .* 83 to 100 of 100 .*as claimed" - -- "$bin" kit report many.json
kit apart 'k["checks"] = [{**k["checks"][0], "lead_kg": {"belt": 6 + 9 * (i % 2)}} for i in range(21)]'
expect "checks that contradict each other" 0 "CONTRADICT EACH OTHER" - -- "$bin" kit report apart.json
grep -q "binomial): too narrow" "$work/out" && say yes "a record that is too narrow" || say no "a record that is too narrow"
kit hostile 'k["parts"][1]["name"] = "\u001b[2J\u202egun"'
"$bin" kit report hostile.json >out.txt 2>&1
grep -q "$(printf '\033')" out.txt && say no "a hostile name stays text" || say yes "a hostile name stays text"

# One question at a time; what is not known stays so.
for answer in 80 belt six 6 no yes 0,05 belt 1 no no "" "" \
    twelve 12 14.2 "" "" 232 "" 0.3 "" twelve 12 14.2 tin steel 0.8 0.15 232 "" 0.3 "" \
    ten 10 12 aluminium "" "" 232 "" "" twelve "" suit 3 "" 0.1 "" "" "" fins "" "" 3.2 "" -0.9 \
    torch "" "" "" "" "" "" lamp nothing "" "" "" "" "" \
    lake fresh 18 0.5 190 "" no 6.5 "" sea "" 18 "" 200 50 ""; do echo "$answer"; done >answers
expect "asked one by one" 0 "asked.json is written" "Not understood: give a number from 0 to 40" -- sh -c "'$bin' kit new asked.json <answers"
for words in "another part has this name" "give it, as measured by dipping" "may be left out" "no catalogue to look this item up"; do
    grep -q "$words" "$work/err" && say yes "said at once: $words" || say no "said at once: $words"
done
expect "a spare was asked for" 0 "Instead of twelve" - -- "$bin" kit report asked.json
[ "$(stat -c %a asked.json)" = 600 ] && say yes "a kit file is the diver's alone" || say no "a kit file is the diver's alone"
expect "what was answered is a kit" 0 "fins +[+-][0-9.]+ \+- " - -- "$bin" kit report asked.json
expect "a file that is there is kept" 2 - "already exists" -- "$bin" kit new asked.json
for answer in 80 belt 6 q; do echo "$answer"; done >answers
expect "stopped" 0 "stopped; half-asked.json has what was answered" "" -- sh -c "'$bin' kit new half-asked.json <answers"
expect "a name with a blank is quoted" 0 "kit report 'half asked.json'$" "" -- sh -c "'$bin' kit new 'half asked.json' <answers"
grep -q '"mass_kg": 6' half-asked.json && say yes "and kept" || say no "and kept"

# By hand. 90 kg of body and 10 kg of lead hang still in fresh water: 100 kg displace 100 kg of it.
# In the sea the lift grows by (rho_sea / rho_fresh - 1) x 100 kg, and lead holds
# (1 - rho_sea / 11190) of its mass: the answer must be that within its own numerical noise.
# By hand too: 12 l of air at 50 bar on the gauge and 16 C weigh rho x 12e-3. By straight lines
# between 50 and 60 bar, 10 and 20 C of a table of Lemmon's equation (evaluated by Debian's
# python3-iapws: 62.57, 75.22; 60.15, 72.24 kg/m3) it has 62.36 kg/m3 at 51.01 bar.
cat >hand.json <<'K'
{"schema": "upthrust-kit-1", "diver": {"mass_kg": 90, "u_mass_kg": 0},
 "parts": [{"name": "belt", "kind": "lead", "mass_kg": 10, "weighed": true, "ditchable": true},
  {"name": "twelve", "kind": "cylinder", "water_volume_l": 12, "empty_mass_kg": 14, "outside_volume_l": 14.2,
   "working_pressure_bar": 232}],
 "checks": [{"water": "fresh", "depth_m": 0, "pressure_bar": 50, "without": ["twelve"]}],
 "dive": {"water": "sea", "deepest_m": 10, "stop_m": 5, "start_bar": 200, "reserve_bar": 50, "gas_temp_c": 16}}
K
"$bin" kit report hand.json --json >hand.out 2>hand.err
if python3 - <<'P'
import json
d = json.load(open("hand.out"))
w = d["other_water"]
by_hand = 100 * (w["to_kg_m3"] / w["from_kg_m3"] - 1) / (1 - w["to_kg_m3"] / 11190)
assert abs(w["lead_to_add"]["value_kg"] - by_hand) < 0.01, (w, by_hand)
lifts = {l["pressure_bar"]: l["lift"]["value_kg"] for l in d["cylinders"][0]["lifts"]}
at_50 = d["water"]["density_kg_m3"] * 14.2e-3 - 14 - 62.36 * 12e-3
assert abs(lifts[50] - at_50) < 0.02, (lifts, at_50)
P
then say yes "two examples worked by hand"; else say no "two examples worked by hand"; fi

# The schema is one, and every kit above that was answered fits it; one with a mistyped key does not.
expect "the schema" 0 '"additionalProperties": false' - -- "$bin" kit schema
"$bin" kit schema >schema.json
"$bin" kit schema --of-report >report-schema.json
for name in example lake moved many apart; do "$bin" kit report $name.json --json >$name.out; done
kit mistyped 'k["parts"][1]["water_volume_litres"] = 12'
python3 - >"$work/out" 2>&1 <<'P'
import json
from jsonschema import Draft202012Validator as Validator
schema = json.load(open("schema.json"))
Validator.check_schema(schema)
fits = lambda name: Validator(schema).is_valid(json.load(open(name + ".json")))
for name in "example lake unknown moved many hand asked".split():
    assert fits(name), name
assert not fits("mistyped")
schema = json.load(open("report-schema.json"))
Validator.check_schema(schema)
for name in "example lake moved many apart hand".split():
    Validator(schema).validate(json.load(open(name + ".out")))
P
[ $? = 0 ] && say yes "kit files fit the schema" || say no "kit files fit the schema"

# The page: one page of A4, and the picture; names are text in it.
kit named 'k["parts"][0]["name"] = "\"; system(\"touch gotcha\") \\"; k["checks"] = [{**c, "lead_kg": {}} for c in k["checks"]]'
expect "a page" 0 "kit.pdf, a page for the diver" - -- "$bin" kit page named.json --to page
[ "$(head -c 5 page/kit.pdf)" = %PDF- ] && [ "$(grep -ac '/Type /Page$\|/Type /Page ' page/kit.pdf)" = 1 ] &&
    say yes "one page" || say no "one page"
[ ! -e page/gotcha ] && [ ! -e gotcha ] && say yes "names do nothing" || say no "names do nothing"
[ "$(stat -c %a page)" = 700 ] && say yes "the diver's alone" || say no "the diver's alone"
[ "$(grep -c '^[1-6]' page/kit.tsv)" = 42 ] && say yes "six lines of the picture" || say no "six lines of the picture"
expect "a page without a folder" 2 - "give --to DIR" -- "$bin" kit page example.json
finish
