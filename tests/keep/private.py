#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Private words planted in all places where a person may write such (invented), then a session, and all that goes to
others: none of it has one of the words. Then each word that a record does have is taken away, down to the bytes."""
import glob
import json
import os
import sqlite3
import subprocess
import sys

here = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, here + "/../cli")
from people import Person, Tank, rig_file  # noqa: E402

bench, tank_program, work = map(os.path.abspath, sys.argv[1:4])
home = work + "/PLANTED-home of Anna"
os.makedirs(home)
os.chdir(home)


def holding(words, *folders):
    """Files that hold one of the words, in their bytes or inside of a packed stream."""
    found = []
    for folder in folders:
        paths = [folder] if os.path.isfile(folder) else glob.glob(folder + "/**", recursive=True)
        for path in filter(os.path.isfile, paths):
            data = open(path, "rb").read()
            if path.endswith(".pdf"):
                data += subprocess.run(["pdftotext", path, "-"], capture_output=True).stdout
            found += [path for word in words if word.encode() in data]
    return found


tank = Tank(tank_program, "--seed", "5")
rig = rig_file("my-rig.ini", "simulated.ini", path=tank.port)
with open(rig, "a") as text:
    text.write("; PLANTED-rig: the tank in the cellar of Anna\n")
person = Person(bench, "c", tank)
said = person.types("item", "add", "--name", "Lead block", "--kind", "lead", "--owner", "PLANTED-owner Anna 555")
assert "PLANTED" not in said, said
assert "PLANTED-owner Anna" in person.types("item", "show", "Lead block")
person.session("calibrate", "--rig", rig, "--masses-g", "500,1000,2000", "--rounds", "1")
events, said = person.session("measure", "--rig", rig, "--item", "Lead block", "--trials", "3")
assert "PLANTED" not in json.dumps(events) + said, said

# A run that fails tells why, and where the device stands is no business of others.
tank.leave()
broken = rig_file("broken.ini", "simulated.ini", path=home + "/PLANTED-port")
failed = subprocess.run([bench, "measure", "--rig", broken, "--item", "Lead block", "--catalogue", "c", "--operator", "json"],
                        input="", capture_output=True, text=True)
assert failed.returncode != 0

# A diver's kit: nothing of it reaches the catalogue.
kit = json.loads(subprocess.run([bench, "kit", "example"], capture_output=True, text=True, check=True).stdout)
kit["note"] = "PLANTED-diver Anna"
json.dump(kit, open("kit.json", "w"))
person.types("kit", "report", "kit.json")

# All that goes to others.
os.makedirs("out")
for command in (("export", "--format", "json", "--to", "out/json"), ("export", "--format", "csv", "--to", "out/csv"),
                ("page", "--to", "out/page"), ("label", "--item", "Lead block", "--to", "out/label.svg"),
                ("report", "--run", "latest", "--to", "out/report.pdf"), ("item", "list"), ("show", "Lead block"),
                ("explain", "Lead block"), ("explain", "Lead block", "--json"), ("calibration", "show"), ("kind", "list"),
                ("show", "Lead block", "--json"), ("item", "list", "--json"), ("check-catalogue",), ("private",)):
    assert "PLANTED" not in person.types(*command), command
assert not holding(["PLANTED"], "out", "c/exchange", "c/plots"), holding(["PLANTED"], "out", "c/exchange", "c/plots")
other = Person(bench, "merged")
assert "PLANTED" not in other.types("merge", "c")
Person(bench, "imported").types("import", "out/json/catalogue.json")
assert not holding(["PLANTED"], "merged", "imported")
assert "PLANTED" not in other.types("item", "show", "Lead block")
print("planted words are in no export, page, label, report, list or merged catalogue")

# What stays here can be read, and proved.
mine = json.loads(person.types("private", "--json"))["private"]
text = next(entry for entry in mine if entry["member"] == "file_text" and "PLANTED-rig" in entry["text"])
import hashlib  # noqa: E402
record = sqlite3.connect("c/catalogue.sqlite").execute(
    "SELECT json_extract(body, '$.text_commitment'), body FROM record WHERE id = ?", (text["id"],)).fetchone()
assert hashlib.sha256((text["salt"] + text["text"]).encode()).hexdigest() == record[0] and text["fits"], record
assert json.loads(record[1])["simulated"] is True
assert "PLANTED-rig" in person.types("private", text["id"])
print("the text of the rig file fits the commitment of its record")

# A backup has all; what is merged or exported of it, none.
person.types("backup", "copy")
copy = Person(bench, "copy")
assert "PLANTED-owner" in copy.types("item", "show", "Lead block")
assert holding(["PLANTED-rig"], "copy/catalogue.sqlite")
copy.types("export", "--format", "json", "--to", "out/copy")
assert not holding(["PLANTED"], "out/copy")
tank = Tank(tank_program, "--seed", "5", "--link", work + "/again")
copy.tank = tank
again = rig_file("again.ini", "simulated.ini", path=work + "/again")
refused, said = copy.session("measure", "--rig", again, "--item", "Lead block", status=(2,))
assert "calibration adopt" in said, said
tank.leave()
print("a backup has what is private, and is known as another place")

# Taken away, down to the bytes; a merge does not bring it back.
person.types("item", "edit", "Lead block", "--note", "TAKEN-note of Anna")
person.types("export", "--format", "json", "--to", "c/exchange")
before = Person(bench, "before")
before.types("merge", "c")
before.types("export", "--format", "json", "--to", "out/before")
assert holding(["TAKEN-note"], "before") and holding(["TAKEN-note"], "c/exchange")
database = sqlite3.connect("c/catalogue.sqlite")
version = database.execute("SELECT record_id FROM item WHERE note LIKE 'TAKEN%'").fetchone()[0]
database.close()
words = person.types("redact", version, "--reason", "it names Anna")
assert "1 other version of the same thing" in words, words
rig_record = text["id"]
assert "names a cellar" in person.types("redact", rig_record, "--reason", "names a cellar") + person.types("check-catalogue")
person.types("item", "edit", "Lead block", "--owner", "")
left = [path for path in holding(["TAKEN-note", "PLANTED-owner", "PLANTED-rig"], "c") if "/runs/" not in path]
assert not left, left
assert "facts taken away, it names Anna" in person.types("check-catalogue")
for once in range(2):
    person.types("merge", "before")
    person.types("import", "out/before/catalogue.json")
assert not [path for path in holding(["TAKEN-note"], "c") if "/runs/" not in path]
assert "TAKEN" not in person.types("item", "show", "Lead block")
assert "Lead block" in person.types("item", "list")
person.types("backup", "later")
assert not [path for path in holding(["TAKEN-note", "PLANTED-rig"], "later") if "/runs/" not in path]
print("what was taken away is in no byte of the catalogue, and no merge brings it back")
