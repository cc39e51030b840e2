#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives a bench by the operator protocol alone, between the program and the simulated tank."""
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys

bench, tank_program, work = sys.argv[1:4]
os.makedirs(work)
catalogue = work + "/catalogue"
rig = work + "/rig.ini"


def start_tank(seed, *options, rig_file=True):
    process = subprocess.Popen([tank_program, "--seed", str(seed), *options], stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, text=True, bufsize=1)
    port = json.loads(process.stdout.readline())["port"]
    if not rig_file:
        return process
    source = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()
    open(rig, "w").write(re.sub(r"(?m)^path = .*$", "path = " + port, source))
    return process


def start_bench(*arguments):
    return subprocess.Popen([bench, *arguments, "--rig", rig, "--catalogue", catalogue,
                             "--operator", "json"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True, bufsize=1)


def pass_on(process, tank, hook=None):
    """Hands each ask to the tank and its answer back; returns all events."""
    events = []
    for line in process.stdout:
        event = json.loads(line)
        events.append(event)
        if hook and hook(event, process, events):
            continue
        if event["event"] == "ask":
            tank.stdin.write(line)
            tank.stdin.flush()
            answer = tank.stdout.readline()
            try:
                process.stdin.write(answer)
                process.stdin.flush()
            except BrokenPipeError:
                # An ask may still lie in the pipe of a bench that a test has just killed; one that
                # ended by itself must not go unheard.
                if process.wait() >= 0:
                    raise
    return events


def rows(sql):
    with sqlite3.connect(catalogue + "/catalogue.sqlite") as database:
        return database.execute(sql).fetchall()


tank = start_tank(9)
added = json.loads(subprocess.run([bench, "item", "add", "--name", "Lead block", "--kind", "lead",
                                   "--json", "--catalogue", catalogue], capture_output=True,
                                  text=True, check=True).stdout)
process = start_bench("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1")
events = pass_on(process, tank)
assert process.wait() == 0, process.stderr.read()
assert events[-1]["event"] == "result" and events[-1]["results"] == []
masses = [e["mass_kg"] for e in events if e.get("do") == "hang-mass"]
# The preload, the loadings, then up the staircase and down again.
assert masses == [2, 0.5, 1, 2, 0.5, 1, 2, 1, 0.5], masses
assert events[-1]["calibration"]["hysteresis_kg"] >= 0

# A stale id, a made-up id, no JSON and a word too many are refused with an event; the session goes on.
bad = ['{"id":1,"answer":"done"}\n', '{"id":99999,"answer":"done"}\n', 'hello\n',
       '{"id":2,"answer":"perhaps"}\n', '[]\n']


def be_rude(event, process, events):
    if event["event"] == "ask" and event["do"] == "immerse" and bad:
        for text in bad:
            process.stdin.write(text)
        bad.clear()
    return False


process = start_bench("measure", "--item", added["item_id"], "--trials", "3")
events = pass_on(process, tank, be_rude)
status = process.wait()
assert status == 0, (status, process.stderr.read())
refused = [e for e in events if e["event"] == "refused"]
assert len(refused) == 5, refused
assert events[-1]["event"] == "result" and len(events[-1]["results"]) == 3
assert [e["number"] for e in events if e["event"] == "trial"] == [1, 2, 3]
assert all(r["class"] == "negative" for r in events[-1]["results"])
print("three trials, results:", [round(r["buoyancy_g"], 1) for r in events[-1]["results"]])

# kill -9 after the second acknowledged trial: both are in the catalogue, and the next run works.
before = rows("SELECT count(*) FROM record WHERE kind = 'trial'")[0][0]


def kill_after_two(event, process, events):
    if event["event"] == "trial" and event["number"] == 2:
        process.send_signal(signal.SIGKILL)
        return True
    return False


process = start_bench("measure", "--item", "Lead block", "--trials", "5")
pass_on(process, tank, kill_after_two)
process.wait()
after = rows("SELECT count(*) FROM record WHERE kind = 'trial'")[0][0]
assert after - before == 2, (before, after)
assert rows("PRAGMA integrity_check") == [("ok",)]

# A new tank process stands for the device that came back; SIGTERM ends the bench as a signal does, and
# what was completed makes a result.
tank.stdin.close()
tank.wait()
tank = start_tank(10)
process = start_bench("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1")
pass_on(process, tank)
assert process.wait() == 0


def terminate_after_two(event, process, events):
    if event["event"] == "trial" and event["number"] == 2:
        process.send_signal(signal.SIGTERM)
    return False


process = start_bench("measure", "--item", "Lead block", "--trials", "9")
events = pass_on(process, tank, terminate_after_two)
assert process.wait() == -signal.SIGTERM
assert events[-1]["event"] == "result" and events[-1]["results"][0]["trials"] in (2, 3)

# End of input is "stop": with fewer than two trials there is no result, and said so.
process = start_bench("measure", "--item", "Lead block")
process.stdin.close()
events = [json.loads(line) for line in process.stdout]
assert process.wait() == 1
assert "there is no result" in process.stderr.read()

# Silence: the tank speaks only when asked, and this rig file does not ask.
polling = open(rig).read()
open(rig, "w").write(re.sub(r"(?m)^poll.*\n", "", polling))
process = start_bench("calibrate", "--masses-g", "500,1000,2000")
for line in process.stdout:
    if json.loads(line)["event"] == "ask":
        process.stdin.write('{"id":%d,"answer":"done"}\n' % json.loads(line)["id"])
        process.stdin.flush()
assert process.wait() == 1
words = process.stderr.read()
assert words.count("\n") == 1 and "nothing has come over the wire" in words, words
print("silence says:", words.strip())
open(rig, "w").write(polling)
process = start_bench("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1")
pass_on(process, tank)
assert process.wait() == 0

# A device that disappears while the bench reads is reported at once.
process = start_bench("measure", "--item", "Lead block")
gone = False
for line in process.stdout:
    event = json.loads(line)
    if event["event"] == "ask":
        tank.stdin.write(line)
        answer = tank.stdout.readline()
        if event["do"] == "immerse":
            tank.kill()
            tank.wait()
            gone = True
        try:  # the bench may have noticed and ended already
            process.stdin.write(answer)
            process.stdin.flush()
        except BrokenPipeError:
            pass
assert gone and process.wait() == 1
note, words = process.stderr.read().split("\n", 1)
assert note.startswith("note: no reference body was weighed") and "None is registered yet: a solid piece of metal" in note, note
assert words.count("\n") == 1 and ("device is gone" in words or "cannot write" in words), words
print("a lost device says:", words.strip())

# One that is waited for: the first tank is killed while a mass is asked for, and its twin answers under
# the same name. The step is asked again from its tare, and the session goes on to its end.
name = work + "/port"
tank = start_tank(12, "--link", name)
waiting = re.sub(r"(?m)^path = .*$", "path = " + name + "\nreturn_s = 20", open(rig).read())
open(rig, "w").write(waiting)
process = start_bench("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1")
told = []
lost = None
for line in process.stdout:
    event = json.loads(line)
    told.append(event)
    back = any("is back" in e.get("text", "") for e in told)
    if event["event"] == "refused":
        tank = start_tank(12, "--link", name, rig_file=False)
        # The ballast stays on the hanger when a device goes away and comes back.
        tank.stdin.write('{"event":"ask","id":0,"do":"add-ballast","time_s":0}\n')
        assert json.loads(tank.stdout.readline())["answer"] == "done"
    if event["event"] != "ask":
        continue
    if event.get("mass_kg") == 1 and lost is None:
        lost = len(told)
        tank.kill()
        tank.wait()
        os.unlink(name)
        continue
    if lost is not None and not back:
        answer = '{"id":%d,"answer":"done"}\n' % event["id"]  # refused: the device is away
    else:
        if back:  # the twin's clock began anew, the bench's went on
            line = json.dumps({**event, "time_s": 0}) + "\n"
        tank.stdin.write(line)
        answer = tank.stdout.readline()
    process.stdin.write(answer)
    process.stdin.flush()
assert process.wait() == 0, process.stderr.read()
kinds = [(e["event"], e.get("text", "")[:18]) for e in told[lost:lost + 5]]
assert [kind for kind, _ in kinds] == ["fault", "ask", "refused", "fault", "ask"], kinds
assert kinds[0][1] == "the device is gone" and kinds[3][1] == "the device is back", kinds
assert [e["do"] for e in told[lost:] if e["event"] == "ask"][:3] == [
    "empty-in-water", "empty-in-water", "hang-mass"]
assert told[-1]["event"] == "result"
journal = "".join(open(os.path.join(at, file), errors="replace").read()
                  for at, _, files in os.walk(catalogue) for file in files if "json" in file)
assert "the device is gone" in journal and "the device is back" in journal
tank.stdin.close()
tank.wait()


def repeat(command):
    """The newest run of a kind once more: what it says must be what is stored."""
    runs = sorted((os.path.join(catalogue, "runs", r) for r in os.listdir(catalogue + "/runs")), key=os.path.getmtime)
    kinds = [json.loads(open(r + "/journal.jsonl").readline())["what"] for r in runs]
    run = [os.path.basename(r) for r, kind in zip(runs, kinds) if kind == command][-1]
    return subprocess.run([bench, command, "--replay", run, "--catalogue", catalogue, "--json"],
                          capture_output=True, text=True)


# The run that lost its device, once more from its journal: the same slope to the last digit.
again = repeat("calibrate")
assert again.returncode == 0, again.stderr
slope = told[-1]["calibration"]["slope_counts_kg"]
assert json.loads(again.stdout)["slope_counts_kg"] == slope, (slope, again.stdout[:300])

# A device that talks unasked, at 200 times its pace: when its lines came is kept, and repeats.
tank = start_tank(13, "--pace", "200")
unasked = re.sub(r"(?m)^poll.*\n", "", open(rig).read())
open(rig, "w").write(unasked)
for arguments in (["calibrate", "--masses-g", "500,1000,2000", "--rounds", "1"], ["measure", "--item", "Lead block", "--trials", "2"]):
    process = start_bench(*arguments)
    events = pass_on(process, tank)
    assert process.wait() in (0, 3), process.stderr.read()
again = repeat("measure")
assert again.returncode in (0, 3), again.stderr
assert "the same as run" in again.stderr, again.stderr
stored = events[-1]["results"]
assert [r["buoyancy_g"] for r in json.loads(again.stdout)["results"]] == [r["buoyancy_g"] for r in stored]
assert '"event":"bytes"' in open("%s/runs/%s/journal.jsonl" % (catalogue, stored[0]["run_id"])).read()
tank.stdin.close()
tank.wait()
