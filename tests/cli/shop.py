#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A shop, invented: five simulated items in a queue on an old scale that prints 10 g steps twice a second. From a fresh
folder to a list, a picture and an export; one fin is not shaken, one mass is left hanging, the run is left half-way."""
import csv
import glob
import os
import sys

from people import Person, Tank, is_picture

bench, tank_program, work = map(os.path.abspath, sys.argv[1:4])
os.makedirs(work)
os.chdir(work)
STOCK = [("Heron fin", "fin", "L"), ("Plover fin", "fin", "M"), ("Lead block", "lead", "1 kg"), ("Tern mask", "mask", "one"),
         ("Float light", "light", "lantern")]
OLD_SCALE = ("--seed", "12", "--scale-step-g", "10", "--rate-hz", "2", "--link", work + "/scale")

# Setup hears the scale as it prints by itself; then its lines come when asked for, so that an hour takes seconds.
tank = Tank(tank_program, *OLD_SCALE, "--pace", "1")
owner = Person(bench, "catalogue")
said = owner.types("setup", "--rig", "shop.ini", "--port", work + "/scale", "--seconds", "4",
                   answers="old-scale\n10\n0.5\nfresh\n0.36\n0.8\n\n1\n0.4\n2\nshare\n5e-5\nyes\n0.01\n\n")
assert "The rig is fit to weigh with" in said and "upthrust calibrate --rig shop.ini" in said, said
tank.leave()
owner.tank = tank = Tank(tank_program, *OLD_SCALE)
rig = open("shop.ini").read()
open("shop.ini", "w").write(rig.replace("[line]\n", "[line]\npoll = more 2\npoll_lines = 2\npoll_while = reading\n"))

for name, kind, size in STOCK:
    owner.types("item", "add", "--name", name, "--kind", kind, "--size", size, *(("--holds-gas", "no") if kind in ("mask", "light") else ()))
with open("queue.txt", "w") as queue:
    queue.write("# what came in today (invented)\n" + "".join(name + "\n" for name, _, _ in STOCK))

slips = {}


def slip(name, ask, answer="done"):
    """Once: the answer without the act."""
    if name in slips:
        return None
    slips[name] = ask["id"]
    return {"id": ask["id"], "answer": answer}


def asked_about(events, words):
    return [e for e in events if e.get("do") == "confirm" and words in e["text"]]


def leave_a_mass(ask, events):
    on_the_hook = sum(e.get("do") == "hang-mass" for e in events)
    return slip("mass", ask) if ask["do"] == "empty-in-water" and on_the_hook == 3 else None


events, said = owner.session("calibrate", "--rig", "shop.ini", "--masses-g", "500,1000,2000", hook=leave_a_mass)
assert slips and len(asked_about(events, "Does something hang")) == 1, [e for e in events if e.get("do") == "confirm"]
assert len(events[-1]["calibration"]["points"]) == 6 and not events[-1]["calibration"]["staircase"], "10 g steps hide hysteresis"


def forget_and_leave(ask, events):
    place = [e["queue"]["place"] for e in events if e["event"] == "queue"][-1]
    if place == 2 and ask["do"] == "shake":
        return slip("shake", ask)
    return slip("leave", ask, "stop") if place == 4 and ask["do"] == "immerse" else None


events, said = owner.session("measure", "--rig", "shop.ini", "--queue", "queue.txt", "--trials", "3", "--label", "labels", hook=forget_and_leave, status=(0, 3))
assert len(asked_about(events, "Was it unhooked and shaken?")) == 1 and "2 of 5 items left" in said, said
before = [e for e in events if e["event"] == "result"]
events, said = owner.session(*owner.named_command(said))
results = {r["item_id"]: r for e in before + events if e["event"] == "result" for r in e["results"] if r["water"] == "tank"}
assert len(before) == 3 and len(results) == 5 and not asked_about(events, ""), said

assert len(glob.glob("labels/*.pdf")) == 5, glob.glob("labels/*")

listed = owner.types("item", "list")
owner.types("plot")
owner.types("export", "--format", "csv", "--to", "for-the-shop")
assert is_picture("catalogue/plots/items.png") and "A weight check in the water decides." in listed
rows = [r for r in csv.DictReader(open("for-the-shop/results.csv")) if r["water"] == "tank"]
held = 0
for name, _, _ in STOCK:
    (row,) = [r for r in rows if r["item_name"] == name]
    truth_g = tank.truth_g(name)
    assert "simulated: " + name in listed and row["simulated"] == "true" and "weight check" in row["claim"], (listed, row)
    assert row["class"] == ("positive" if truth_g > 0 else "negative"), (name, truth_g, row)
    held += abs(float(row["buoyancy_g"]) - truth_g) <= float(row["expanded_u_g"])
assert held >= 4, held
tank.leave()
# Registering five items, each with its answers, is what there is to type; three trials of five items what there is to hang.
owner.report("shop, 5 items", {"commands": 12, "answers": 105, "loadings": 88, "readings": 87})
