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
refused "a gas nobody knows" "oxygen_percent" 'k["parts"][1]["oxygen_percent"] = 100'
refused "two parts of one name" "another part has this name" 'k["parts"][5]["name"] = "belt"'
refused "an item without a catalogue" "no catalogue" 'k["parts"].append({"name": "torch", "item": "Float light"})'
kit lake 'k["dive"]["air_pressure_hpa"] = 800'
expect "a mountain lake" 0 "" - -- "$bin" kit report lake.json
kit hostile 'k["parts"][1]["name"] = "\u001b[2J\u202egun"'
"$bin" kit report hostile.json >out.txt 2>&1
grep -q "$(printf '\033')" out.txt && say no "a hostile name stays text" || say yes "a hostile name stays text"

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
finish
