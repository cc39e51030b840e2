#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A club, invented: two simulated benches, each with its own masses and catalogue, each with its own fin of one model.
The catalogues are merged both ways: the fins are told apart, and no result is replaced."""
import os
import re
import sqlite3
import sys

from people import Person, Tank, is_picture, rig_file

bench, tank_program, work = map(os.path.abspath, sys.argv[1:4])
os.makedirs(work)
os.chdir(work)
FIN = ("item", "add", "--name", "Heron fin", "--kind", "fin", "--maker", "Nobody", "--size", "L")


class Volunteer(Person):
    def __init__(self, name, seed, masses_g):
        super().__init__(bench, name + "/catalogue", Tank(tank_program, "--seed", str(seed)))
        self.rig = rig_file(name + ".ini", "simulated.ini", id=name, path=self.tank.port)
        self.masses_g = masses_g
        os.makedirs(name)

    def calibrates_and_measures(self, item):
        self.session("calibrate", "--rig", self.rig, "--masses-g", self.masses_g)
        events, said = self.session("measure", "--rig", self.rig, "--item", item, "--trials", "3")
        result = [r for r in events[-1]["results"] if r["water"] == "tank"][0]
        assert abs(result["buoyancy_g"] - self.tank.truth_g("Heron fin")) < 2 * result["expanded_u_g"], result
        return result

    def results(self):
        with sqlite3.connect(self.catalogue + "/catalogue.sqlite") as database:
            return dict(database.execute("SELECT id, body FROM record WHERE kind = 'result'"))

    def results_of(self, item):
        """The beginning of the id of an item that has results."""
        return re.search(r"\b([0-9a-f]{8})(-[0-9a-f]{4}){3}", self.types("show", item)).group(1)

    def looks(self):
        """The list and the picture."""
        listed = self.types("item", "list")
        self.types("plot")
        assert is_picture(self.catalogue + "/plots/items.png")
        labels = re.findall(r"<title>|>([^<]*Heron fin[^<]*)<", open(self.catalogue + "/plots/items.svg").read())
        return listed, [label for label in labels if label]


hall = Volunteer("hall", 9, "500,1000,2000")
lake = Volunteer("lake", 31, "1000,2000,4000")
hall.types(*FIN)
hall.calibrates_and_measures("Heron fin")
hall_fin = hall.results_of("Heron fin")
# The lake takes the hall's catalogue from a stick, writes a number on the hall's fin, and registers its own.
lake.types("merge", hall.catalogue)
lake.types("item", "edit", "Heron fin", "--stock-number", "H-17")
said = lake.types(*FIN)
assert "its name looks like that of" in said, said
own = re.match(r"[0-9a-f]{8}", said).group(0)
lake.calibrates_and_measures(own)
before = {**hall.results(), **lake.results()}
said = hall.types("merge", lake.catalogue)
assert "1 new version of what was made here" in said and "item accept" in said, said
lake.types("merge", hall.catalogue)
# All results of both are in both, word for word.
assert hall.results() == lake.results() == before and len(before) == 6, len(before)
said, labels = hall.looks()
assert "of 1 item a version from elsewhere waits" in said and "H-17" not in said, said
hall.types("item", "accept", hall_fin)
assert hall.results() == before
for person in (hall, lake):
    said, labels = person.looks()
    assert "version from elsewhere" not in said and "stock number H-17" in said and "simulated: Heron fin" in said, said
    assert len(set(labels)) == len(labels) == 2, labels
    for where in ("hall", "lake"):
        assert len(re.findall("-3[67][0-9]", person.types("item", "list", "--bench", where, "--water", "fresh"))) == 1, where
    # Both cells' calibrations are there, and each bench uses its own.
    assert person.results_of(own) == own and person.results_of(hall_fin) == hall_fin
for person in (hall, lake):
    person.tank.leave()
    person.report("club, " + person.rig, {"commands": 14, "answers": 46, "loadings": 46, "readings": 44})
