#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The main job through the programs themselves: demo, the JSON operator, a killed bench, replayed
# bytes. Everything in virtual time.
. "$(dirname "$0")/tap.sh"
tank=$1/upthrust-tank
d=$work/demo
check() { # name command...
    name=$1; shift
    "$@" >"$work/out" 2>"$work/err" && say yes "$name" || say no "$name"
}

"$bin" demo --dir "$d" --seed 5 --json >"$work/demo.json" 2>"$work/progress"
status=$?
cp "$work/progress" "$work/err"; : >"$work/out"
[ $status -eq 0 ] || [ $status -eq 3 ] && say yes "demo ends with 0 or 3" || say no "demo ends with 0 or 3"
if grep -qvE '^(A simulated tank|  (calibrating|weighing))' "$work/progress"; then
    say no "demo has nothing to complain of"; else say yes "demo has nothing to complain of"; fi
check "results beside the truth" python3 - "$work/demo.json" <<'P'
import json, sys
document = json.load(open(sys.argv[1]))
results = document["results"]
names = {r["item_name"] for r in results}
assert len(names) >= 10, names
pinned = """item_id run_id water basis water_density_kg_m3 water_temp_c immersion_depth_m air_pressure_pa
soak_s compressible buoyancy_g u_buoyancy_g dof expanded_u_g coverage tolerance_g probability_positive
probability_neutral probability_negative class trials method truth_g""".split()
for r in results:
    assert not [k for k in pinned if k not in r], r
    assert r["class"] in ("positive", "neutral", "negative", "undecided")
    # Each is the least over all the air that may have stayed, so they fall short of 1 near a line.
    chances = r["probability_positive"] + r["probability_neutral"] + r["probability_negative"]
    assert chances < 1 + 1e-6 and (r["stuck_air_g"] > 0 or chances > 1 - 1e-6), r
    assert (r["water"] == "tank") == (r["basis"] == "measured")
    # Six standard uncertainties: this looks for blunders, tests/truth for coverage.
    assert abs(r["buoyancy_g"] - r["truth_g"]) < 6 * r["u_buoyancy_g"] + 0.1, r
classes = {r["class"] for r in results}
assert classes == {"positive", "neutral", "negative", "undecided"}, classes
share = sum(-r["expanded_u_g"] <= r["buoyancy_g"] - r["truth_g"] <= r["expanded_u_g"] + r["stuck_air_g"]
            for r in results) / len(results)
assert share > 0.6, share
P
check "everything is left behind" test -s "$d/catalogue/plots/items.png" -a -s "$d/catalogue/plots/items.svg" \
    -a -s "$d/catalogue/exchange/results.csv" -a -s "$d/catalogue/exchange/catalogue.json" -a -s "$d/rig.ini"
check "the calibration is drawn and shown" sh -c "[ -s '$d/catalogue/plots/calibration-1.png' ] && [ -s '$d/catalogue/plots/calibration-1.svg' ] && '$bin' calibration show --catalogue '$d/catalogue' | grep -q '^hysteresis [0-9.]* g'"
check "a calibration is found by the beginning of its id" sh -c \
    "id=\$('$bin' calibration list --catalogue '$d/catalogue' | cut -c 1-8 | head -n 1); '$bin' calibration show \$id --json --catalogue '$d/catalogue' | grep -q '\"staircase\"'"
sed '$a calibration_days = 0' "$d/rig.ini" >"$work/old.ini"
"$bin" measure --rig "$work/old.ini" --port "$work/none" --operator json --item "Heron fin" --catalogue "$d/catalogue" >"$work/out" 2>"$work/err" </dev/null
grep -q '^note: the calibration .* days old' "$work/err" && say yes "an old calibration is told" || say no "an old calibration is told"
check "list and show tell class, grams and interval" sh -c \
    "'$bin' item list --catalogue '$d/catalogue' | grep -qE '^simulated: Heron fin .* negative +-[0-9]{3}\.[0-9] g [+][0-9.]+ -[0-9.]+ g' &&
     '$bin' show 'Heron fin' --catalogue '$d/catalogue' | grep -q 'weighs as much in water as [0-9]* g of lead' &&
     '$bin' show 'Plover fin' --units imperial --catalogue '$d/catalogue' | grep -qE 'tank +\+[0-9.]+ oz .*positive'"
check "the list as JSON holds the newest results in SI" sh -c "'$bin' item list --units imperial --json --catalogue '$d/catalogue' |
    python3 -c 'import json,sys; i=json.load(sys.stdin)[\"items\"]; assert len(i)>=10 and all(len(x[\"results\"]) in (1,3) and \"buoyancy_g\" in x[\"results\"][0] for x in i)'"
check "colour on a terminal only, and not where it is unwanted" python3 - "$bin" "$d/catalogue" <<'P'
import os, pty, subprocess, sys
def coloured(**more):
    ours, theirs = pty.openpty()
    environment = {"PATH": os.environ["PATH"], "TERM": "xterm"}
    environment.update(more)
    subprocess.run([sys.argv[1], "item", "list", "--water", "tank", "--catalogue", sys.argv[2]], stdout=theirs,
                   env=environment, check=True)
    os.close(theirs)
    text = b""
    try:
        while part := os.read(ours, 65536):
            text += part
    except OSError:
        pass
    assert b"positive" in text and b"negative" in text, text
    return b"\x1b[" in text
assert coloured()
assert not coloured(NO_COLOR="1")
assert not coloured(TERM="dumb")
piped = subprocess.run([sys.argv[1], "item", "list", "--catalogue", sys.argv[2]], capture_output=True, check=True)
assert b"\x1b" not in piped.stdout
P
check "the trace of a run is drawn, and draws again" sh -c "run=\$('$bin' show 'Heron fin' --catalogue '$d/catalogue' | sed -n 's/.* run \([0-9a-f]*\).*/\1/p') &&
    '$bin' plot --run \"\$run\" --rig '$d/rig.ini' --catalogue '$d/catalogue' &&
    cd '$d/catalogue/plots' && rm run-*.png && gnuplot -d run-*.gp && test -s run-*.png"
check "an item is drawn in every water, with its trials and its uncertainty, for A4 too" sh -c \
    "'$bin' plot --item 'Smew long fin' --a4 --to '$work/one' --catalogue '$d/catalogue' >'$work/list' && [ \$(ls '$work'/one/*.pdf | wc -l) -eq 3 ] &&
     grep -q 'waters-.*svg, .png, .pdf' '$work/list' && grep -q 'neutral, undecided from 10.*positive from 10' '$work'/one/waters-*.gp"
check "items of one kind, in one water, on a dark ground" sh -c \
    "'$bin' plot --kind fin --water sea --dark --to '$work/fins' --catalogue '$d/catalogue' && grep -q 14181c '$work/fins/items.svg' &&
     ! grep -qE 'Lead|fresh at' '$work/fins/items.gp' && grep -q ' chosen items' '$work/fins/items.gp' && [ ! -e '$work/fins/calibration-1.gp' ]"
check "a row for each kind" sh -c "'$bin' plot --by kind --to '$work/kinds' --catalogue '$d/catalogue' && grep -q '8 kinds' '$work/kinds/items.gp'"
check "a model and its sizes" sh -c "'$bin' plot --model Heron --to '$work/model' --catalogue '$d/catalogue' && ls '$work'/model/sizes-*.png"
check "progress on a terminal, silence when piped" python3 - "$bin" "$d/catalogue" "$work/progress-plots" <<'P'
import os, pty, shutil, subprocess, sys
command = [sys.argv[1], "plot", "--by", "item", "--to", sys.argv[3], "--catalogue", sys.argv[2]]
# A slow one, as nothing is told within a second.
slow = sys.argv[3] + "-bin"
os.mkdir(slow)
open(slow + "/gnuplot", "w").write('#!/bin/sh\nsleep 1.2\nexec %s "$@"\n' % shutil.which("gnuplot"))
os.chmod(slow + "/gnuplot", 0o755)
ours, theirs = pty.openpty()
subprocess.run(command, stderr=theirs, stdout=subprocess.DEVNULL, check=True,
               env=dict(os.environ, TERM="xterm", PATH=slow + ":" + os.environ["PATH"]))
os.close(theirs)
text = b""
try:
    while part := os.read(ours, 65536):
        text += part
except OSError:
    pass
assert b"pictures drawn, of " in text and text.endswith(b"\r\x1b[K"), text
assert subprocess.run(command, capture_output=True, check=True).stderr == b""
P
check "the database is whole" sh -c "[ \"\$(sqlite3 '$d/catalogue/catalogue.sqlite' 'PRAGMA integrity_check')\" = ok ]"
check "the views read" sh -c "[ \"\$(sqlite3 '$d/catalogue/catalogue.sqlite' 'SELECT count(*) >= 30 FROM result JOIN item USING (item_id)')\" = 1 ]"
check "the script draws again from a copy of its folder" sh -c \
    "cp -r '$d/catalogue/plots' '$work/copy' && rm '$work'/copy/items.png && cd '$work/copy' && gnuplot -d items.gp && test -s items.png"

# A catalogue that can only be read, as somebody who may not write there.
cp -r "$d/catalogue" "$work/read-only" && cp "$bin" "$work/reader" && mkdir "$work/elsewhere"
chmod -R a-w,a+rX "$work/read-only" && chmod a+rx "$work" "$work/reader" && chmod 777 "$work/elsewhere"
read_only() {
    if [ "$(id -u)" = 0 ]; then setpriv --reuid 65534 --regid 65534 --clear-groups "$work/reader" "$@"; else "$work/reader" "$@"; fi
}
for words in "item list" "show Heron" "plot --to $work/elsewhere" "export --format csv --to $work/elsewhere" "export --format json --to $work/elsewhere"; do
    [ "$words" != "show Heron" ] || set -- show "Heron fin"
    [ "$words" = "show Heron" ] || set -- $words
    check "read only: ${words% --to*}" read_only "$@" --catalogue "$work/read-only"
done
check "and all of it is there" test -s "$work/elsewhere/items.png" -a -s "$work/elsewhere/results.csv" -a -s "$work/elsewhere/catalogue.json"
read_only plot --catalogue "$work/read-only" >"$work/out" 2>"$work/err"
[ $? -eq 1 ] && grep -q "plots/.*Permission denied" "$work/err" && good=yes || good=no
say $good "plot into it says that it may not be written"
read_only item add --name Late --kind fin --catalogue "$work/read-only" >"$work/out" 2>"$work/err"
[ $? -eq 1 ] && grep -q "cannot be written, only read" "$work/err" && good=yes || good=no
say $good "and so does adding to it"
chmod -R u+w "$work/read-only"

# The same seed gives the same session, at whatever speed the machine runs.
"$bin" demo --dir "$work/twin" --seed 5 --json >"$work/twin.json" 2>/dev/null
check "same seed, same numbers" python3 - "$work/demo.json" "$work/twin.json" <<'P'
import json, sys
a, b = (json.load(open(p))["results"] for p in sys.argv[1:])
keys = "item_name water buoyancy_g u_buoyancy_g expanded_u_g truth_g trials soak_s".split()
assert [[r[k] for k in keys] for r in a] == [[r[k] for k in keys] for r in b]
P

# Each run repeats from what it recorded, and stores nothing by it.
before=$(sqlite3 "$d/catalogue/catalogue.sqlite" 'SELECT count(*) FROM record')
check "every run repeats" sh -c "n=0; for run in \$(sqlite3 '$d/catalogue/catalogue.sqlite' 'SELECT DISTINCT run_id FROM result'); do
    '$bin' measure --replay \$run --catalogue '$d/catalogue' | grep -q '^the same as run' || exit 1; n=\$((n + 1)); done; [ \$n -ge 10 ]"
check "and nothing is stored by it" [ "$before" = "$(sqlite3 "$d/catalogue/catalogue.sqlite" 'SELECT count(*) FROM record')" ]

# The raw bytes of a run are a capture that listen reads with the same rig.
stream=$(ls -S "$d"/catalogue/runs/*/stream | head -n 1)
check "listen reads a run's raw bytes" sh -c \
    "'$bin' listen --rig '$d/rig.ini' --replay '$stream' --json | python3 -c 'import json,sys; d=json.load(sys.stdin); assert d[\"refused\"]==0 and abs(d[\"rate_hz\"]-10)<0.05 and d[\"columns\"][0][\"plateau_count\"]>3'"
sed "s|^kind = .*|kind = capture|; s|^path = .*|path = $stream|; /^poll/d" "$d/rig.ini" >"$work/capture.ini"
check "a capture that the rig file names is read from its first line on" sh -c \
    "'$bin' listen --rig '$work/capture.ini' --json >'$work/a' && '$bin' listen --rig '$work/capture.ini' --replay '$stream' --json >'$work/b' && cmp '$work/a' '$work/b'"
check "each journal is JSON Lines with offsets within its stream" python3 - "$d/catalogue/runs" <<'P'
import glob, json, os, sys
runs = glob.glob(sys.argv[1] + "/*")
assert len(runs) >= 11
for run in runs:
    size = os.path.getsize(run + "/stream")
    last = 0
    for line in open(run + "/journal.jsonl"):
        entry = json.loads(line)
        assert last <= entry["offset"] <= size
        last = entry["offset"]
P

# A driver of our own on the pinned protocol; a bench killed in mid-session; a bad catalogue row.
check "operator protocol, kill and restart" python3 "$(dirname "$0")/drive.py" "$bin" "$tank" "$work/driven"
sed 's/^/# /' "$work/out"

# Without gnuplot the results stay and the status says 1.
mkdir "$work/empty"
PATH=$work/empty "$bin" plot --catalogue "$d/catalogue" >"$work/out" 2>"$work/err"
[ $? -eq 1 ] && grep -q gnuplot "$work/err" && say yes "gnuplot missing" || say no "gnuplot missing"
finish
