#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A person with a hanging scale, played: types what the scale shows, rounded to its division. The
scale's own kilogram is 1.3 % off, its zero 30 g; the truth is known from mass and volume."""
import json
import os
import random
import subprocess
import sys

bench, work = sys.argv[1:3]
os.makedirs(work)
rig = work + "/scale.ini"
source = os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/hanging-scale.ini"
open(rig, "w").write(open(source).read().replace("id = hanging-scale", "id = scale-of-the-test") + "shake_share = 0.5\n")
AIR, WATER, LEAD, STEEL = 1.2, 998.2067, 11340, 8000  # kg/m3; water at 20 C: CIPM table
BALLAST_KG, DIVISION_KG = 2, 0.01
ITEMS = {"Slate block": (1.250, 0.00090), "Cork board": (0.400, 0.00090)}  # invented: kg, m3


def tell(catalogue, *arguments):
    return subprocess.run([bench, *arguments, "--catalogue", catalogue], capture_output=True, text=True, check=True)


class Person:
    def __init__(self, rng):
        self.rng = rng
        self.item = None
        self.air_kg = 0

    def shows(self, ask):
        """In conventional kilograms: what it would read if it were right."""
        what = ask["do"]
        ballast = 0 if what == "bare-hook" else BALLAST_KG * (1 - WATER / LEAD)
        hung = 0
        if what == "hang-mass":
            hung = ask["mass_kg"]
        elif what == "hang-in-air":
            mass, volume = self.item
            hung = (mass - AIR * volume) / (1 - AIR / STEEL)
        elif what in ("immerse", "shake"):
            self.air_kg = 0.010 if what == "immerse" else self.air_kg * 0.4
            mass, volume = self.item
            hung = (mass - WATER * volume - self.air_kg) / (1 - AIR / STEEL)
        right = ballast + hung + self.rng.gauss(0, 0.002)
        return round((0.030 + 1.013 * right) / DIVISION_KG) * DIVISION_KG

    def answer(self, ask):
        if ask["do"] == "read-temperature":
            assert ask["unit"] == "degrees C"
            return {"id": ask["id"], "value": 20}
        if "wants" not in ask:
            return {"id": ask["id"], "answer": "done"}
        assert ask["unit"] == "kg"
        return {"id": ask["id"], "value": self.shows(ask)}


def session(person, catalogue, *arguments, spoil=None):
    process = subprocess.Popen([bench, *arguments, "--rig", rig, "--catalogue", catalogue, "--operator", "json"],
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1)
    events = []
    for line in process.stdout:
        event = json.loads(line)
        events.append(event)
        if event["event"] == "ask":
            if spoil:
                spoil(event, process)
            process.stdin.write(json.dumps(person.answer(event)) + "\n")
    assert process.wait() in (0, 3), process.stderr.read()
    cautions = [e["text"] for e in events if e["event"] == "note" and "mains off" in e["text"]]
    assert len(cautions) == 1 and events[0]["text"] == cautions[0], events[:2]
    return events


hold = intervals = 0
for seed in range(20):
    person = Person(random.Random(seed))
    catalogue = "%s/catalogue-%d" % (work, seed)
    events = session(person, catalogue, "calibrate", "--masses-g", "500,1000,2000,5000")
    slope = events[-1]["calibration"]["slope_counts_kg"]
    assert abs(slope / 1.013 - 1) < 0.005, slope
    for name, item in ITEMS.items():
        tell(catalogue, "item", "add", "--name", name, "--kind", "other", "--holds-gas", "no")
        person.item = item
        events = session(person, catalogue, "measure", "--item", name, "--water", "fresh")
        results = {r["water"]: r for r in events[-1]["results"]}
        tank = results["tank"]
        truth_g = 1e3 * (WATER * item[1] - item[0])
        assert tank["class"] == ("positive" if truth_g > 0 else "negative"), tank
        # A division of 10 g: wider than a bench's interval by far, and not absurd.
        assert 8 < tank["expanded_u_g"] < 40, tank["expanded_u_g"]
        assert "typed readings" in tank["method"]
        intervals += 1
        hold += abs(tank["buoyancy_g"] - truth_g) <= tank["expanded_u_g"]
# Binomial at 95 %: fewer than 34 of 40 in one case of a hundred.
assert intervals == 40 and hold >= 34, (hold, intervals)
print("%d of %d intervals hold the truth" % (hold, intervals))

# The last run once more, from its journal alone.
run = events[-1]["results"][0]["run_id"]
again = tell(catalogue, "measure", "--replay", run).stdout if tank["class"] != "undecided" else ""
assert "the same as run %s stored" % run in again, again

# Readings in another unit, beyond the scale, and as words are refused; the question stays open.
refusals = []


def nonsense(ask, process):
    if ask["do"] == "hang-mass" and "wants" in ask and not refusals:
        for value in (ask["mass_kg"] * 1000, 25, "five", None):
            process.stdin.write(json.dumps({"id": ask["id"], "value": value}) + "\n")
        refusals.append(ask["id"])


events = session(Person(random.Random(99)), work + "/catalogue-x", "calibrate", "--masses-g", "500,1000,2000", spoil=nonsense)
refused = [e["text"] for e in events if e["event"] == "refused"]
assert len(refused) == 4, refused
assert "more than the scale's limit of 20 kg" in refused[0] and "more than the scale's limit of 20 kg" in refused[1], refused
assert events[-1]["event"] == "result"
