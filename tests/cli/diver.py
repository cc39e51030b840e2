#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A diver, invented: a simulated luggage scale with 10 g steps over a bucket, three known masses, no wire. One waits until
the display stands, reads it and types it. Counts the readings of a calibration and of each item."""
import os
import sys

from people import Person, Tank, rig_file

bench, tank_program, work = map(os.path.abspath, sys.argv[1:4])
os.makedirs(work)
os.chdir(work)
ITEMS = [("Heron fin", "fin"), ("Plover fin", "fin"), ("Tern mask", "mask")]

tank = Tank(tank_program, "--seed", "7", "--scale-step-g", "10", "--rate-hz", "2")
diver = Person(bench, "catalogue", tank)
rig_file("scale.ini", "hanging-scale.ini", id="divers-scale\nsimulated = yes", capacity_kg="10")
display = os.open(tank.port, os.O_RDWR | os.O_NOCTTY)


def shows(ask):
    """What stands on the display half a minute later."""
    os.write(display, b"more 60\n")
    got = b""
    while got.count(b"\n") < 60:
        got += os.read(display, 65536)
    return float(got.split()[-2])


def readings(what, most, *words):
    before = diver.steps["readings"]
    events, said = diver.session(*words, value=shows)
    asked = [e["do"] for e in events if e["event"] == "ask"]
    count = diver.steps["readings"] - before
    print("%s: %d readings, at most %d" % (what, count, most))
    assert count <= most, (what, asked)
    return events, asked


events, asked = readings("a calibration with three masses", 20, "calibrate", "--rig", "scale.ini", "--masses-g", "500,1000,2000")
# No tare was dropped for the count: the scale is read empty before and after each mass.
assert asked.count("empty-in-water") == 7 and asked.count("hang-mass") == 7, asked
held = 0
for name, kind in ITEMS:
    diver.types("item", "add", "--name", name, "--kind", kind, *([] if kind == "fin" else ["--holds-gas", "no"]))
    events, asked = readings(name, 15, "measure", "--rig", "scale.ini", "--item", name)
    assert asked.count("lift-out") == asked.count("immerse") == 3 and asked.count("empty-in-air") == 2, asked
    result = [r for r in events[-1]["results"] if r["water"] == "tank"][0]
    truth_g = tank.truth_g(name)
    assert result["class"] == ("positive" if truth_g > 0 else "negative"), (truth_g, result)
    held += abs(result["buoyancy_g"] - truth_g) <= result["expanded_u_g"]
assert held >= 2, held
listed = diver.types("item", "list")
assert all("simulated: " + name in listed for name, _ in ITEMS) and "weight check in the water decides" in listed, listed
tank.leave()
diver.report("diver, 3 items", {"commands": 8, "answers": 66, "loadings": 62, "readings": 20 + 3 * 15})
