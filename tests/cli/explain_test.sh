#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The derivation of a result, redone from what explain prints; and what is stored, judged again.
. "$(dirname "$0")/tap.sh"
d=$work/demo c=$work/demo/catalogue
"$bin" demo --dir "$d" --seed 5 --json >"$work/demo.json" 2>"$work/err"
check() { # name command...
    name=$1; shift
    "$@" >"$work/out" 2>"$work/err" && say yes "$name" || say no "$name"
}

# Each number from those before it, by the equations at the head of include/upthrust/weighing.h; not
# a line of it is shared with the program.
for water in tank fresh sea; do
    "$bin" explain "Heron fin" --water $water --json --catalogue "$c" >"$work/explained.json" 2>"$work/err"
    "$bin" explain "Heron fin" --water $water --catalogue "$c" >"$work/words" 2>>"$work/err"
    check "the chain is redone, $water" python3 - "$work/explained.json" "$work/words" $water <<'P'
import json, math, re, sys
told = json.load(open(sys.argv[1]))
result, model, water = told["result"], told["result"]["model"], sys.argv[3]
slope, bend = told["calibration"]["slope_counts_kg"], told["calibration"]["quadratic_counts_kg2"]
unloading = told["calibration"]["unloading_slope_counts_kg"]


def difference(of):
    before, load, after = of["tare_before"], of["load"], of["tare_after"]
    share = (load["time_s"] - before["time_s"]) / (after["time_s"] - before["time_s"])
    return load["load_counts"] - (1 - share) * before["load_counts"] - share * after["load_counts"]


def linear(counts):
    if unloading and counts * slope < 0:
        counts *= slope / unloading
    if bend == 0:
        return counts
    return slope * (math.sqrt(slope * slope + 4 * bend * counts) - slope) / (2 * bend)


def near(a, b, allowed, what):
    assert abs(a - b) <= allowed, (what, a, b)


trials = [linear(difference(t)) for t in told["trials"]]
assert len(trials) == result["trials"] >= 3
for ours, theirs in zip(trials, told["trials"]):
    near(ours, theirs["load_counts"], 1e-3, "counts of a trial")
budget = {line["name"]: line for line in result["budget"]}
value = lambda name: budget[name]["value"] if name in budget else 0
counts = sum(trials) / len(trials)
sd = math.sqrt(sum((t - counts) ** 2 for t in trials) / (len(trials) - 1))
near(sd / math.sqrt(len(trials)), budget["repeatability in water"]["u"], 1e-3, "u of the mean")
k = 1 - model["calibration_air_kg_m3"] / 8000
# An offset of the zero makes what hangs and what lifts read larger.
offset = value("calibration offset")
w = counts / slope * (1 - value("hanging point and swing")) - math.copysign(offset, offset * counts / slope)
load_air = linear(difference(told["air"])) / slope - offset
rho_a, rho_w = value("air density"), value("tank water density")
air = value("residual air")
wetted = (load_air - w) * k / (rho_w - rho_a)
volume = wetted - air / rho_w
mass = load_air * k + rho_a * volume
b = -w * k - air - rho_w * model["line_area_m2"] / model["tank_area_m2"] * wetted
if water != "tank":
    beta = value("item expansion")
    rho_x = value("density of the water asked for")
    b += (rho_x * (1 + beta * (model["target_temp_c"] - model["tank_temp_c"])) - rho_w) * volume
near(b * 1e3, result["buoyancy_g"], 1e-6, "buoyancy in g")
near(volume * 1e6, result["volume_m3"] * 1e6, 1e-6, "volume in ml")
near(mass * 1e3, result["mass_kg"] * 1e3, 1e-6, "mass in g")
# u is the root of the sum of squares of the budget, share by share (GUM 5.1.2).
u = math.sqrt(sum((line["sensitivity"] * line["u"]) ** 2 for line in result["budget"]))
near(u * 1e3, result["u_buoyancy_g"], 1e-9, "u in g")
near(sum(line["share_of_variance"] for line in result["budget"]), 1, 1e-9, "shares")
for line in result["budget"]:
    assert line["shared_by"] and line["evaluation"] in "AB" and line["distribution"], line
# The effective degrees of freedom (GUM G.4.1), and Student's t summed up to k (Simpson).
dof = u**4 / sum((line["sensitivity"] * line["u"]) ** 4 / line["dof"] for line in result["budget"] if line["dof"])
near(dof, result["dof"], 1e-6 * dof, "effective degrees of freedom")
norm = math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(dof * math.pi)
density = lambda t: norm * (1 + t * t / dof) ** (-(dof + 1) / 2)
step = told["coverage_factor"] / 2000
inside = 2 * step / 3 * sum(density(i * step) * (1 if i in (0, 2000) else 4 if i % 2 else 2) for i in range(2001))
near(inside, result["coverage"], 1e-9, "what k covers")
near(told["coverage_factor"] * u * 1e3, result["first_order_expanded_u_g"], 1e-9, "first order")
# The same from the words: what a reader types into a calculator.
words = dict(re.findall(r"^  (\S.*?) += (\S+)", open(sys.argv[2]).read().split("\nbudget,")[0], re.M))
number = lambda name: float(words[name])
b = -number("w") * number("k") - number("air") - number("line")
near(b, number("b tank"), 1e-9, "b in the tank, from the words")
if water != "tank":
    b += (number("rho_x") * (1 + number("beta") * (number("t_x") - number("t_w"))) - number("rho_w")) * number("V")
    near(b, number("b"), 1e-9, "b, from the words")
near(b * 1e3, result["buoyancy_g"], 1e-5, "grams, from the words")
# The budget in words: the largest part first, what weighs nothing in one line, and the whole of it.
lines = open(sys.argv[2]).read().split("\nbudget,")[1].split("\ncombined")[0].splitlines()[4:]
parts = [(line[2:44].strip(), *map(float, line[44:60].split())) for line in lines if not line.startswith("    ")]
assert parts[-1][0] == "%d more, together (all with --json)" % (sum(l["u"] > 0 for l in result["budget"]) - len(parts) + 1), parts
shown = parts[:-1]
assert [p[2] for p in shown] == sorted((p[2] for p in shown), reverse=True) and shown[-1][2] >= 0.1, parts
weighty = {l["name"] for l in result["budget"] if l["share_of_variance"] >= 0.0005}
assert {p[0] for p in shown} == weighty, (parts, weighty)
near(math.sqrt(sum(p[1] ** 2 for p in parts)), result["u_buoyancy_g"], 2e-3, "u, from the words")
P
done
expect "in words: budget and decision" 0 "^budget, the largest part first" - -- "$bin" explain "Heron fin" --catalogue "$c"
expect "the latest by default" 0 "Finger reel" - -- "$bin" explain --catalogue "$c"
id=$(sqlite3 "$c/catalogue.sqlite" "SELECT result_id FROM result WHERE water = 'sea' LIMIT 1")
expect "by the beginning of its id" 0 "result $id" - -- "$bin" explain "$(echo "$id" | cut -c 1-8)" --catalogue "$c"
expect "explain what is not there" 2 - 'did you mean "Heron fin"' -- "$bin" explain "Heron fim" --catalogue "$c"
expect "explain a water without a result" 2 - "no result in the water \"mud\"" -- "$bin" explain "Heron fin" --water mud --catalogue "$c"

expect "it says of what it is, and that it is no more" 0 "simulated, no gear was weighed: this one piece, not the model; a weight$" - -- "$bin" explain "Heron fin" --catalogue "$c"
expect "so does the list" 0 "^simulated: Heron fin .*" - -- "$bin" item list --catalogue "$c"
check "and the exports" grep -q ",true,.simulated, no gear was weighed: this pair, not the model" "$c/exchange/results.csv"
count() { sqlite3 "$c/catalogue.sqlite" "SELECT count(*) FROM $1"; }
before=$(count record)
expect "nothing new to judge" 3 "0 decisions stored" - -- "$bin" decide --all --catalogue "$c"
expect "a dry run" 0 "would be stored" - -- "$bin" decide --all --tolerance-g 400 --dry-run --catalogue "$c"
check "neither stores anything" [ "$before" = "$(count record)" ]
results=$(count result)
# What would change is printed before anything is stored: where that fails, it has been seen.
python3 -c 'import sqlite3, sys, time
held = sqlite3.connect(sys.argv[1], isolation_level=None)
held.execute("BEGIN IMMEDIATE")
print("held", flush=True)
time.sleep(60)' "$c/catalogue.sqlite" >"$work/held" &
holder=$!
while [ ! -s "$work/held" ]; do sleep 0.1; done
expect "shown, though it could not be stored" 1 "negative +neutral +[*]" "locked by another program" -- "$bin" decide --item "Heron fin" --tolerance-g 400 --catalogue "$c"
kill "$holder"
wait "$holder" 2>/dev/null
check "and nothing was" [ "$before" = "$(count record)" ]
expect "decide says so" 0 "^Each number is of the piece or pair that was weighed" - -- "$bin" decide --kind reel --dry-run --catalogue "$c"
expect "one item under another tolerance" 0 "negative +neutral +[*]" - -- "$bin" decide --item "Heron fin" --tolerance-g 400 --catalogue "$c"
check "three decisions more, and the results as they were" [ "$(count record)" -eq $((before + 3)) ] && [ "$results" = "$(count result)" ]
expect "the list tells the tolerance that is not the usual one" 0 "Heron fin .* 400 g +[0-9a-f]{8}$" - -- "$bin" item list --catalogue "$c"
check "the old decision is kept" [ "$(sqlite3 "$c/catalogue.sqlite" "SELECT count(*) FROM decision JOIN item USING (item_id) WHERE item.name = 'Heron fin' AND decision.class = 'negative' AND NOT rejudged")" -eq 3 ]
expect "the list tells the current one, and that" 0 "Heron fin +fin +neutral .*[*]" - -- "$bin" item list --catalogue "$c"
expect "so does show" 0 "judged again since" - -- "$bin" show "Heron fin" --catalogue "$c"
expect "so does explain, with the old one" 0 "judged again.: neutral" - -- "$bin" explain "Heron fin" --catalogue "$c"
check "exchange is brought up to date" grep -q ",neutral,.*tolerance 400 g" "$c/exchange/decisions.csv"
expect "a kind" 3 "Heron fin" - -- "$bin" decide --kind fin --confidence 0.999 --catalogue "$c"
expect "another water, from the model" 0 "1 class changed or new" - -- "$bin" decide --item "Plover fin" --water sea,temp_c=28,salinity_g_kg=40 --dry-run --catalogue "$c"
expect "another water is stored as a result" 0 "" - -- "$bin" decide --item "Plover fin" --water "Warm lagoon,temp_c=28,salinity_g_kg=40" --catalogue "$c"
run=$(sqlite3 "$c/catalogue.sqlite" "SELECT run_id FROM result JOIN item USING (item_id) WHERE name = 'Plover fin' LIMIT 1")
"$bin" decide --item "Plover fin" --water sea,temp_c=28,salinity_g_kg=40 --catalogue "$c" >/dev/null
expect "the run repeats all the same, whatever was asked later" 0 "the same as run" - -- "$bin" measure --replay "$run" --catalogue "$c"
"$bin" measure --replay "$run" --store --catalogue "$c" >/dev/null
expect "and once its replay was stored beside it" 0 "the same as run" - -- "$bin" measure --replay "$run" --catalogue "$c"
check "calculated as measuring would have" python3 - "$bin" "$c" <<'P'
import json, subprocess, sys
def told(water):
    return json.loads(subprocess.run([sys.argv[1], "explain", "Plover fin", "--water", water, "--json", "--catalogue",
                                      sys.argv[2]], capture_output=True, check=True, text=True).stdout)
sea, lagoon = told("sea"), told("Warm lagoon")
a, b = sea["chain"], lagoon["chain"]
assert lagoon["result"]["basis"] == "calculated" and lagoon["result"]["run_id"] == sea["result"]["run_id"]
lift = lambda c: c["target_density_kg_m3"] * (1 + c["expansion_per_k"] * (c["target_temp_c"] - c["tank_temp_c"]))
grams = ((lift(b) - lift(a)) * a["volume_m3"]) * 1e3
assert abs(lagoon["result"]["buoyancy_g"] - sea["result"]["buoyancy_g"] - grams) < 1e-6, grams
assert len(lagoon["decisions"]) == 1 and lagoon["decisions"][0]["class"] == "positive"
P
expect "a kind of nothing" 2 - "no item of the kind zeppelin" -- "$bin" decide --kind zeppelin --catalogue "$c"
expect "an own water without salinity" 2 - "what is in it" -- "$bin" decide --all --water "Blue lake,temp_c=5" --catalogue "$c"
for t in 0 -1 nan; do
    expect "tolerance $t" 2 - "--tolerance-g" -- "$bin" decide --all --tolerance-g=$t --catalogue "$c"
done
for p in 0.49 1 0.99995; do
    expect "confidence $p" 2 - "--confidence" -- "$bin" decide --all --confidence $p --catalogue "$c"
done
# As a result from before the model was kept was.
python3 "$(dirname "$0")/rehash.py" "$c"
sqlite3 "$c/catalogue.sqlite" "INSERT INTO record SELECT 'aaaaaaaa-0000-4000-8000-00000000000' || (rowid % 10), sha256, kind,
    'aaaaaaaa-0000-4000-8000-00000000000' || (rowid % 10), bench, '2099-01-01T00:00:00.000Z', json_remove(body, '\$.model')
    FROM record WHERE kind = 'result' AND json_extract(body, '\$.water') = 'tank' LIMIT 1"
own() { sqlite3 "$c/catalogue.sqlite" "INSERT INTO local_mark SELECT id, 'made', '', '', made_utc FROM record WHERE id LIKE '$1-%'"; }
python3 "$(dirname "$0")/rehash.py" "$c"
expect "one of elsewhere is counted, not judged" 3 "^1 result from elsewhere is not judged again$" - -- "$bin" decide --all --dry-run --catalogue "$c"
own aaaaaaaa
expect "an old result is told, not computed" 2 - "older than the model that is kept" -- "$bin" explain aaaaaaaa --catalogue "$c"
expect "and not judged again" 0 "not judged: from before" - -- "$bin" decide --all --tolerance-g 400 --catalogue "$c" --dry-run
# As somebody's import may hold: one budget without a finite interval stops none of the others.
sqlite3 "$c/catalogue.sqlite" "INSERT INTO record SELECT 'bbbbbbbb-0000-4000-8000-00000000000' || (rowid % 10), sha256, kind,
    'bbbbbbbb-0000-4000-8000-00000000000' || (rowid % 10), bench, '2099-01-01T00:00:00.000Z',
    json_set(body, '\$.water', 'broken', '\$.budget[0].u', json('1e308'), '\$.model.draws_asked', 900000000)
    FROM record WHERE kind = 'result' AND json_extract(body, '\$.water') = 'tank' AND json_type(body, '\$.model') = 'object' LIMIT 1"
own bbbbbbbb
python3 "$(dirname "$0")/rehash.py" "$c"
expect "a budget that cannot be computed is told" 0 "broken +not judged: its stored budget" - -- timeout 20 "$bin" decide --all --tolerance-g 401 --catalogue "$c" --dry-run
expect "and the others are judged" 0 "^  tank .*401 g" - -- "$bin" decide --all --tolerance-g 401 --catalogue "$c" --dry-run
# An item that turns out to hold gas: what was calculated of it is shown nowhere any more.
expect "it holds gas after all" 0 "holds gas: results hold only at their depth" - -- "$bin" item edit "Plover fin" --holds-gas yes --catalogue "$c"
expect "the list shows the tank alone" 0 "Plover fin +fin +positive +[+]16[0-9.]+ g [^g]*g[*?! ]* - +- +[0-9a-f]{8}$" - -- "$bin" item list --water tank --water fresh --water sea --catalogue "$c"
expect "and says why" 0 "calculated waters of what holds gas are withdrawn" - -- "$bin" item list --catalogue "$c"
expect "so does show" 0 "fresh +withdrawn: it holds gas" - -- "$bin" show "Plover fin" --catalogue "$c"
check "without a number of it" python3 - "$bin" "$c" <<'P'
import json, subprocess, sys
shown = json.loads(subprocess.run([sys.argv[1], "show", "Plover fin", "--json", "--catalogue", sys.argv[2]],
                                  capture_output=True, check=True, text=True).stdout)
assert {r["water"] for r in shown["results"]} == {"tank"}, shown["results"]
assert {"fresh", "sea"} <= {r["water"] for r in shown["withdrawn"]}, shown["withdrawn"]
P
expect "and explain" 0 "  withdrawn: it holds gas" - -- "$bin" explain "Plover fin" --water fresh --catalogue "$c"
expect "and decide" 0 "^  fresh +not judged: withdrawn: it holds gas" - -- "$bin" decide --item "Plover fin" --dry-run --catalogue "$c"
finish
