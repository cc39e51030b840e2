#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reference bodies through whole sessions on the simulated tank: they agree with it, a wrong one is
asked about, and what was found stays; what the trials taught of the kind is asked for at the end."""
import json
import os
import re
import sqlite3
import subprocess
import sys

bench, tank_program, work = sys.argv[1:4]
os.makedirs(work)
catalogue = work + "/catalogue"
rig = work + "/rig.ini"


def ask(*words):
    run = subprocess.run([bench, *words, "--json", "--catalogue", catalogue], capture_output=True,
                         text=True)
    assert run.returncode == 0, (words, run.stderr)
    return json.loads(run.stdout)


def rows(sql):
    with sqlite3.connect(catalogue + "/catalogue.sqlite") as database:
        return database.execute(sql).fetchall()


tank = subprocess.Popen([tank_program, "--seed", "17"], stdin=subprocess.PIPE,
                        stdout=subprocess.PIPE, text=True, bufsize=1)
port = json.loads(tank.stdout.readline())["port"]
here = os.path.dirname(os.path.abspath(__file__))
source = open(here + "/../../rigs/simulated.ini").read()
open(rig, "w").write(re.sub(r"(?m)^path = .*$", "path = " + port, source))


notes = ""  # of the latest session


def session(*words, stop=False):
    """All events; a word that is asked for is given (or the session ended there), the rest does the tank."""
    global notes
    process = subprocess.Popen([bench, *words, "--rig", rig, "--catalogue", catalogue, "--operator",
                                "json"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, bufsize=1)
    events = []
    for line in process.stdout:
        event = json.loads(line)
        events.append(event)
        if event["event"] == "ask" and event["do"] == "confirm" and stop:
            process.kill()
            process.wait()
            return events
        if event["event"] == "ask" and event["do"] == "confirm":
            process.stdin.write(json.dumps({"id": event["id"], "answer": "accept"}) + "\n")
            process.stdin.flush()
        elif event["event"] == "ask":
            tank.stdin.write(line)
            tank.stdin.flush()
            process.stdin.write(tank.stdout.readline())
            process.stdin.flush()
    notes = process.stderr.read()
    assert process.wait() in (0, 3), notes
    return events


def words_of_list():
    results = ask("item", "list")["items"][0]["results"]
    return {r["body_check"] for r in results}


session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "2")
ask("item", "add", "--name", "Heron fin", "--kind", "fin")
# As the simulated tank has them: rigs/gear.c.
ask("body", "add", "--name", "Steel reference", "--mass-g", "1500", "--u-mass-g", "0.02",
    "--volume-cm3", "190", "--u-volume-cm3", "0.03")
ask("body", "add", "--name", "Hollow reference", "--mass-g", "1200", "--u-mass-g", "0.02",
    "--volume-cm3", "1000", "--u-volume-cm3", "0.1")

both = ["--body", "Steel reference", "--body", "Hollow reference"]
events = session("measure", "--item", "Heron fin", "--trials", "3", *both)
checks = [e for e in events if e["event"] == "check"]
assert [c["name"] for c in checks] == ["Steel reference", "Hollow reference"]
assert not any(c["outside"] for c in checks), checks
assert "note: no reference body" not in notes and words_of_list() == {"inside"}
assert any(e["event"] == "note" and "both bodies" in e["text"] for e in events)

# Three grams more than it has: outside, and going on takes the word accept.
ask("body", "edit", "Steel reference", "--mass-g", "1503")
events = session("measure", "--item", "Heron fin", "--trials", "3", "--body", "Steel reference")
confirms = [e for e in events if e["event"] == "ask" and e["do"] == "confirm"]
assert len(confirms) == 1 and "too light" in confirms[0]["text"], confirms

assert words_of_list() == {"outside"}
shown = ask("body", "show", "Steel reference")
assert [c["outside"] for c in shown["checks"]] == [False, True]
assert [c["confirmed"] for c in shown["checks"]] == [False, True]
# The first was made with other numbers, the second lies outside: neither makes limits.
assert [c["in_limits"] for c in shown["checks"]] == [False, False]
assert -4 < shown["checks"][1]["deviation_g"] < -2
assert shown["charts"] == [{"bench": "simulated-tank", "checks": 0, "centre_g": None, "low_g": None,
                            "high_g": None, "has_limits": False}]
assert rows("SELECT count(*), sum(outside), sum(confirmed) FROM reference_check"
            " JOIN reference USING (reference_id) JOIN run USING (run_id)") == [(3, 1, 1)]

# Six trials in two sessions teach the fin's scatter with four degrees of freedom.
kind = ask("kind", "list")["kinds"][0]
assert kind["name"] == "fin" and kind["bench"] == "simulated-tank"
assert (kind["items"], kind["runs"], kind["repeatability_one_dof"]) == (1, 2, 4)
loads = rows("SELECT run_id, load_g FROM trial ORDER BY run_id")
squares = 0
for run in {r for r, _ in loads}:
    own = [g for r, g in loads if r == run]
    squares += sum((g - sum(own) / len(own)) ** 2 for g in own)
assert abs(kind["repeatability_one_g"] - (squares / 4) ** 0.5) < 1e-9

drawn = subprocess.run([bench, "plot", "--catalogue", catalogue], capture_output=True, text=True)
assert drawn.returncode == 0 and drawn.stdout.count("reference-") == 2, drawn
# Without a body in the session the last one speaks; after a calibration none does.
session("measure", "--item", "Heron fin", "--trials", "2")
assert "note: the last reference body read outside its limits" in notes, notes
assert words_of_list() == {"outside"}
session("calibrate", "--masses-g", "500,1000,2000", "--no-staircase")
session("measure", "--item", "Heron fin", "--trials", "2")
assert "note: no reference body was weighed since the calibration" in notes, notes
assert '. Weigh one first: --body with "' in notes and '"Hollow reference"' in notes and '"Steel reference"' in notes, notes
listed = subprocess.run([bench, "item", "list", "--catalogue", catalogue], capture_output=True, text=True).stdout
assert "? unchecked" in listed and "`upthrust body list` shows the bodies" in listed, listed
assert words_of_list() == {"unchecked"}
session("measure", "--item", "Heron fin", "--trials", "2", "--body", "Hollow reference")
assert words_of_list() == {"inside"}
session("measure", "--item", "Heron fin", "--trials", "2")
assert "reference body" not in notes and words_of_list() == {"inside"}
# A session that ends at the question leaves its mark.
session("measure", "--item", "Heron fin", "--trials", "2", "--body", "Steel reference", stop=True)
checks_of_steel = ask("body", "show", "Steel reference")["checks"]
assert (checks_of_steel[-1]["outside"], checks_of_steel[-1]["confirmed"]) == (True, False)
session("measure", "--item", "Heron fin", "--trials", "2")
assert "note: the last reference body read outside its limits" in notes and words_of_list() == {"outside"}
tank.stdin.close()
tank.wait()
print("off by, in grams: %s" % ", ".join("%+.2f (u %.2f)" % (c["deviation_g"], c["u_deviation_g"])
                                         for c in checks))
