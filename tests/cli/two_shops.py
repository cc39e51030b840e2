#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Two shops with a rig file of one id, an invented scenario: the second merges the first one's catalogue.
What would happen without a guard: it would weigh with a calibration of another cell, and say nothing."""
import json
import os
import re
import shutil
import subprocess
import sys

bench, tank_program, work = sys.argv[1:4]
os.makedirs(work)
simulated = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()


class Shop:
    def __init__(self, name, seed):
        self.at, self.rig = work + "/" + name, work + "/" + name + ".ini"
        self.tank = subprocess.Popen([tank_program, "--seed", str(seed)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                     text=True, bufsize=1)
        port = json.loads(self.tank.stdout.readline())["port"]
        open(self.rig, "w").write(re.sub(r"(?m)^path = .*$", "path = " + port, simulated))

    def tell(self, *arguments):
        done = subprocess.run([bench, *arguments, "--catalogue", self.at], capture_output=True, text=True)
        return done.returncode, done.stdout + done.stderr

    def session(self, *arguments, stop_after=None):
        process = subprocess.Popen([bench, *arguments, "--rig", self.rig, "--catalogue", self.at, "--operator", "json"],
                                   stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1)
        result, asks = None, 0
        for line in process.stdout:
            event = json.loads(line)
            result = event if event["event"] == "result" else result
            if event["event"] == "ask":
                self.tank.stdin.write(line)
                self.tank.stdin.flush()
                reply = json.loads(self.tank.stdout.readline())
                asks += 1
                if asks == stop_after:
                    reply["answer"] = "stop"
                process.stdin.write(json.dumps(reply) + "\n")
                process.stdin.flush()
        return process.wait(), process.stderr.read(), result

    def measured_g(self):
        status, words, result = self.session("measure", "--item", "Lead block", "--trials", "3")
        assert status == 0, words
        return result["results"][0]["buoyancy_g"], result["results"][0]["expanded_u_g"]

    def is_refused(self, status, wanted, *arguments):
        found, words, _ = self.session(*arguments)
        assert found == status and wanted in words, (found, words)


calibrate = ("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1")
measure = ("measure", "--item", "Lead block")
adopt = ("calibration", "adopt", "--masses-g", "2000", "--rounds", "1")
one, two = Shop("one", 9), Shop("two", 31)
one.tell("item", "add", "--name", "Lead block", "--kind", "lead")
assert one.session(*calibrate)[0] == 0
truth_g, u_g = one.measured_g()

# The second shop's cell is another one.
status, words = two.tell("merge", one.at)
assert status == 0 and "1 calibration\n" in words and "calibration adopt" in words, words
two.is_refused(2, "calibration adopt", *measure)
two.is_refused(1, "it is not one of this cell", *adopt)
status, words = two.tell("rig-check", "--rig", two.rig, "--seconds", "2")
assert "calibrate to know it" in words, words
assert two.session(*calibrate)[0] == 0
net_g, own_u_g = two.measured_g()
assert abs(net_g - truth_g) < 3 * (u_g + own_u_g), (net_g, truth_g)
two.is_refused(2, "was made on this machine", *adopt)

body = ("--mass-g", "1000", "--u-mass-g", "0.1", "--volume-cm3", "127", "--u-volume-cm3", "0.1")
one.tell("body", "add", "--name", "A brass block", *body)

# A second laptop at the first shop's tank: the same cell.
laptop = Shop("laptop", 9)
laptop.tank.kill()
laptop.tank, laptop.rig = one.tank, one.rig
laptop.tell("import", one.at)
laptop.tell("merge", one.at)  # the body came after the last export
laptop.is_refused(2, "calibration adopt", *measure)
laptop.is_refused(2, "begin again with a mass of 500 g or more", "calibration", "adopt", "--masses-g", "200", "--rounds", "1")
status, words, _ = laptop.session(*adopt)
assert status == 0 and "is adopted" in words and "checking the calibration" in words, words
laptop.tell("body", "add", "--name", "The laptop's own", *body)
status, words, result = laptop.session("measure", "--item", "Lead block", "--trials", "3")
assert 'Weigh one first: --body with "The laptop\'s own", "A brass block" (from elsewhere)' in " ".join(words.split()), words
net_g, u_g = result["results"][0]["buoyancy_g"], result["results"][0]["expanded_u_g"]
assert abs(net_g - truth_g) < 2 * u_g, (net_g, truth_g)

# A run that was stopped, and whose stream then is another one: refused, and no run is left behind.
one.session("measure", "--item", "Lead block", "--trials", "3", stop_after=4)
stopped = max(os.listdir(one.at + "/runs"), key=lambda run: os.path.getmtime(one.at + "/runs/" + run + "/stream"))
stream = one.at + "/runs/" + stopped + "/stream"
as_it_came = open(stream).read()
open(stream, "w").write(re.sub(r"(?m)^(\d+,-?)(\d)", lambda m: m[1] + str((int(m[2]) + 3) % 9 + 1), as_it_came))
runs = sorted(os.listdir(one.at + "/runs"))
one.is_refused(2, "does not give the readings of its journal", *measure, "--resume", stopped[:8])
assert sorted(os.listdir(one.at + "/runs")) == runs
open(stream, "w").write(as_it_came)
# A digit of its calibration that changed in the journal would be computed with.
journal = one.at + "/runs/" + stopped + "/journal.jsonl"
as_it_was = open(journal).read()
plan = next(json.loads(line) for line in as_it_was.splitlines() if '"plan"' in line)
u = json.dumps(plan["calibration"]["u_slope_counts_kg"])
assert as_it_was.count('"u_slope_counts_kg":' + u) == 1
open(journal, "w").write(as_it_was.replace('"u_slope_counts_kg":' + u, '"u_slope_counts_kg":' + u.replace(u[0], "7", 1)))
one.is_refused(2, "has other numbers for its calibration", *measure, "--resume", stopped[:8])
open(journal, "w").write(as_it_was)
status, words, _ = one.session(*measure, "--resume", stopped[:8])
assert status == 0, words

# A copy of the folder, as a backup that is put back; and the other shop's calibration, the newer one, beside one's own.
shutil.copytree(one.at, work + "/back")
one.at = work + "/back"
one.is_refused(2, "calibration adopt", *measure)
one.tell("merge", two.at)
theirs = [c["calibration_id"] for c in json.loads(one.tell("calibration", "list", "--json")[1])["calibrations"] if c["elsewhere"]]
assert len(theirs) == 1, theirs
one.is_refused(1, "it is not one of this cell", "calibration", "adopt", theirs[0], "--masses-g", "2000", "--rounds", "1")
assert one.session(*adopt)[0] == 0
one.measured_g()

# And one that is copied over the very file, after the bench was calibrated again.
shutil.copy(one.at + "/catalogue.sqlite", work + "/backup")
assert one.session(*calibrate)[0] == 0
shutil.copyfile(work + "/backup", one.at + "/catalogue.sqlite")
one.is_refused(2, "a backup may have been copied over it", *measure)
status, words = one.tell("calibration", "list")
assert status == 0 and "  not adopted" in words, words
assert one.session(*adopt)[0] == 0
one.measured_g()
print("%.1f g in all three places" % truth_g)
