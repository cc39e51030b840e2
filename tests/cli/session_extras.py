#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Queues, reference bodies, second depth and two points, through the program and the simulated tank
by the operator protocol."""
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
here = os.path.dirname(os.path.abspath(__file__))


def run(*arguments, status=0):
    done = subprocess.run([bench, *arguments, "--catalogue", catalogue], capture_output=True,
                          text=True)
    assert done.returncode == status, (arguments, done.returncode, done.stderr)
    return done


def session(tank, *arguments, hook=None):
    """A session by the protocol: status, all events, what stood on stderr."""
    process = subprocess.Popen([bench, *arguments, "--rig", rig, "--catalogue", catalogue,
                                "--operator", "json"], stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1)
    events = []
    for line in process.stdout:
        event = json.loads(line)
        events.append(event)
        if event["event"] != "ask" or (hook and hook(event, process, events)):
            continue
        tank.stdin.write(line)
        tank.stdin.flush()
        answer = tank.stdout.readline()
        try:
            process.stdin.write(answer)
            process.stdin.flush()
        except BrokenPipeError:
            if process.wait() >= 0:
                raise
    error = process.stderr.read()
    return process.wait(), events, error


tank = subprocess.Popen([tank_program, "--seed", "21"], stdin=subprocess.PIPE,
                        stdout=subprocess.PIPE, text=True, bufsize=1)
port = json.loads(tank.stdout.readline())["port"]
source = open(here + "/../../rigs/simulated.ini").read()
open(rig, "w").write(re.sub(r"(?m)^path = .*$", "path = " + port, source))


def truth_g(item):
    tank.stdin.write(json.dumps({"truth": item}) + "\n")
    tank.stdin.flush()
    return json.loads(tank.stdout.readline())["truth_g"]


for name, kind, more in (("Heron fin", "fin", ()), ("Plover fin", "fin", ()),
                         ("Coot fin", "fin", ()), ("Auk hood", "hood", ("--holds-gas", "yes"))):
    run("item", "add", "--name", name, "--kind", kind, *more)
run("body", "add", "--name", "Steel reference", "--mass-g", "1500", "--u-mass-g", "0.02",
    "--volume-cm3", "190", "--u-volume-cm3", "0.1")
run("body", "add", "--name", "Hollow reference", "--mass-g", "1200", "--u-mass-g", "0.02",
    "--volume-cm3", "1000", "--u-volume-cm3", "0.2")
status, events, error = session(tank, "calibrate", "--masses-g", "500,1000,2000,4000")
assert status == 0, error

# ---- both bodies, then looks at 4, 6, 8 trials: a clear item is done at the first ----
status, events, error = session(tank, "measure", "--item", "Heron fin", "--trials", "4,6,8",
                                "--body", "Steel reference", "--body", "Hollow reference")
assert status == 0, error
checks = [e for e in events if e["event"] == "check"]
assert [c["name"] for c in checks] == ["Steel reference", "Hollow reference"]
assert all(abs(c["deviation_g"]) < 3 * c["u_deviation_g"] and not c["outside"] for c in checks)
assert any("by both bodies" in e.get("text", "") for e in events if e["event"] == "note")
assert sum(e["event"] == "trial" for e in events) == 4
result = events[-1]["results"][0]
assert [c["name"] for c in result["checks"]] == ["Steel reference", "Hollow reference"]
shown = run("body", "show", "Steel reference").stdout
assert re.search(r"inside", shown), shown

# ---- gas and moment ----
status, events, error = session(tank, "measure", "--item", "Auk hood", "--trials", "3",
                                "--second-depth-m", "3.4")
assert status in (0, 3), error
deep = events[-1]["results"][0]["second_depth"]
assert abs(deep["gas_l"] - 0.3) < 3 * deep["u_gas_l"], deep
assert [e["depth_m"] for e in events if e.get("do") == "lower-hanger"] == [3.4]
# Boyle by hand: 0.3 L at 0.4 m and what is left of it at 10 m.
pressure_pa = [101325 + 998 * 9.80665 * d for d in (0.4, 10)]
lost_g = 0.3 * 998 * (1 - pressure_pa[0] / pressure_pa[1])
at_10_m = [f for f in deep["foretold"] if f["depth_m"] == 10][0]
assert abs(truth_g("Auk hood") - lost_g - at_10_m["buoyancy_g"]) < 2 * at_10_m["u_buoyancy_g"], deep
assert at_10_m["u_buoyancy_g"] > 0.1 * lost_g, at_10_m
assert [f["depth_m"] for f in deep["foretold"]] == [5, 10, 15, 20], deep
tank.stdin.write("lower-hanger 0.4\n")  # pulled up again
tank.stdin.flush()
assert "lower-hanger at" in tank.stdout.readline()
status, events, error = session(tank, "measure", "--item", "Coot fin", "--trials", "3",
                                "--two-point-m", "0.6")
assert status in (0, 3), error
points = events[-1]["results"][0]["two_points"]
assert abs(points["moment_nm"] + 0.06 * 9.80665 * 0.6) < 3 * points["u_moment_nm"], points
sheet = run("show", "Coot fin").stdout
assert "hung level by lines 0.6 m apart" in sheet and "comes up" in sheet, sheet
sheet = run("show", "Coot fin", "--units", "imperial").stdout
assert re.search(r"lines 2\.0 ft apart: [+-][0-9.]+ oz at the hook's end", sheet), sheet
sheet = run("show", "Auk hood", "--units", "imperial").stdout
assert re.search(r"at 11\.2 ft: \+7\.\d+ oz", sheet) and " g " not in sheet, sheet
print("0.3 L of gas told as %.3f, -0.353 N m as %.3f" % (deep["gas_l"], points["moment_nm"]))

# ---- a queue: killed in the second item, taken up, its neighbours share the tare ----
with open(work + "/stock.txt", "w") as stock:
    stock.write("# invented stock\nHeron fin\n\n  Plover fin\nCoot fin\n")


def kill_in_second(event, process, events):
    if event["do"] == "immerse" and sum(e["event"] == "trial" for e in events) == 4:
        process.send_signal(signal.SIGKILL)
        return True
    return False


queue = ("measure", "--queue", work + "/stock.txt", "--trials", "3")
status, events, error = session(tank, *queue, hook=kill_in_second)
assert status == -signal.SIGKILL, error
assert [e["queue"]["place"] for e in events if e["event"] == "queue"] == [1, 2]
assert len([e for e in events if e["event"] == "note" and "mains off" in e["text"]]) == 1, "cautions once a queue"
assert "1 of 3, about" in events[0]["text"] and "next: Plover fin" in events[0]["text"], events[0]
second = [e["do"] for e in events[[e["event"] for e in events].index("result"):]
          if e["event"] == "ask"]
assert second[0] == "hang-in-air", second  # ballast and tare are the neighbour's
status, events, error = session(tank, "measure", "--queue", work + "/stock.txt", "--resume",
                                "--trials", "3")
assert status in (0, 3), error
assert [e["queue"]["place"] for e in events if e["event"] == "queue"] == [2, 3]
results = [e for e in events if e["event"] == "result"]
assert len(results) == 2 and len(results[1]["results"]) == 3
trials = [e for e in events if e["event"] == "trial"]
assert [t["number"] for t in trials] == [2, 3, 1, 2, 3], trials  # the first one had been stored
for result, item in ((results[0], "Plover fin"), (results[1], "Coot fin")):
    tank_result = result["results"][0]
    assert abs(tank_result["buoyancy_g"] - truth_g(item)) < 3 * tank_result["expanded_u_g"]
# The derivation of a result that two runs made is printed whole.
explained = json.loads(run("explain", "Plover fin", "--json").stdout)
assert [t["number"] for t in explained["trials"]] == [1, 2, 3], explained["trials"]
loads = [t["linear_counts"] for t in explained["trials"]]
assert abs(sum(loads) / 3 - explained["chain"]["water_counts"]) < 1e-3, loads
# The tare before its dry weighing is the neighbour's.
assert abs(explained["air"]["linear_counts"] - explained["chain"]["air_counts"]) < 1e-3
words = run("explain", "Plover fin").stdout
assert "nan" not in words, words
assert "mean of the trials" in words and "= 0   half" not in words, words
status, events, error = session(tank, *queue, "--resume")
assert status == 0 and "all 3 items of the list are done" in error, error
with sqlite3.connect(catalogue + "/catalogue.sqlite") as database:
    runs = database.execute("SELECT json_extract(detail.body, '$.queue.place') FROM run JOIN record"
                            " ON record.id = record_id JOIN detail USING (sha256)"
                            " WHERE how_ended = 'completed' AND"
                            " json_extract(detail.body, '$.queue.list') = 'stock.txt'").fetchall()
assert sorted(r[0] for r in runs) == [1, 2, 3], runs

# Each of its runs repeats for itself, the tare that it took over included.
last = results[1]["results"][0]["run_id"]
again = run("measure", "--replay", last, status=status if status == 3 else 0)
assert "the same as run" in again.stdout, again.stdout
learned = json.loads(run("kind", "list", "--json").stdout)
assert any(k["kind"].startswith("fin") if "kind" in k else k["name"] == "fin"
           for k in learned["kinds"]), learned
# ---- a queue is never stuck: its run taken up by itself, its item changed meanwhile ----
with open(work + "/rest.txt", "w") as rest:
    rest.write("Heron fin\nCoot fin\n")
rest = ("measure", "--queue", work + "/rest.txt", "--trials", "2")


def stop_in_second_trial(event, process, events):
    if event["do"] != "immerse" or sum(e["event"] == "trial" for e in events) != 1:
        return False
    process.stdin.write('{"id":%d,"answer":"stop"}\n' % event["id"])
    return True


status, events, error = session(tank, *rest, hook=stop_in_second_trial)
assert status in (0, 3) and "1 of 2 trials are stored" in error and "2 of 2 items left" in error, error
status, events, error = session(tank, "measure", "--resume")
assert status in (0, 3), error
status, events, error = session(tank, *rest, "--resume", hook=stop_in_second_trial)
assert status in (0, 3), error
assert [e["queue"]["place"] for e in events if e["event"] == "queue"] == [2], events
run("item", "edit", "Coot fin", "--tolerance-g", "40")
status, events, error = session(tank, *rest, "--resume")
assert status in (0, 3) and "note: Coot fin has been edited" in error, error
assert [e["number"] for e in events if e["event"] == "trial"] == [1, 2], events
# ---- ended while it copied what it goes on with (a full disk, a power cut): that one is whole still ----
def kill_at(wanted, number):
    def hook(event, process, events):
        if sum(e.get("do") == wanted for e in events) < number:
            return False
        process.kill()
        return True
    return hook


status, events, error = session(tank, "measure", "--item", "Heron fin", "--trials", "3",
                                hook=kill_at("immerse", 2))
assert status == -signal.SIGKILL and sum(e["event"] == "trial" for e in events) == 1, events
for kept_lines in (1, 2, 9):
    status, events, error = session(tank, "measure", "--resume", hook=kill_at("empty-in-water", 1))
    assert status == -signal.SIGKILL, error
    runs = [catalogue + "/runs/" + name for name in os.listdir(catalogue + "/runs")]
    latest = max(runs, key=os.path.getmtime)
    journal = open(latest + "/journal.jsonl").readlines()
    assert sum('"event":"copied"' in line for line in journal) == 1, journal
    open(latest + "/journal.jsonl", "w").writelines(journal[:kept_lines])
    os.truncate(latest + "/stream", 0)
status, events, error = session(tank, "measure", "--resume")
assert status in (0, 3), error
assert [e["number"] for e in events if e["event"] == "trial"] == [2, 3], (events, error)
again = run("measure", "--replay", events[-1]["results"][0]["run_id"], status=status)
assert "the same as run" in again.stdout, again.stdout


# ---- left after the dry weighing: the first trial of the run that continues reports it too ----
def kill_before_water(event, process, events):
    if event["do"] == "immerse":
        process.send_signal(signal.SIGKILL)
        return True
    return False


status, events, error = session(tank, "measure", "--item", "Heron fin", "--trials", "3",
                                hook=kill_before_water)
assert status == -signal.SIGKILL, error
status, events, error = session(tank, "measure", "--resume")
assert status in (0, 3) and sum(e["event"] == "trial" for e in events) == 3, error
explained = json.loads(run("explain", "Heron fin", "--json").stdout)
assert abs(explained["air"]["linear_counts"] - explained["chain"]["air_counts"]) < 1e-3, explained
for trial in explained["trials"]:
    assert abs(trial["linear_counts"] - trial["load_counts"]) < 1e-3, trial

# ---- what is in a cylinder has weight: given, kept and shown; a jacket is emptied ----
for name, kind in (("Finger reel", "cylinder"), ("Tern mask", "jacket")):
    run("item", "add", "--name", name, "--kind", kind, "--holds-gas", "no")
for name, options, wanted in (("Finger reel", (), "give --pressure-bar and --gas"),
                              ("Finger reel", ("--gas", "air"), "give both"),
                              ("Finger reel", ("--pressure-bar", "200"), "give both"),
                              ("Finger reel", ("--pressure-bar", "500", "--gas", "air"), "0 to 400"),
                              ("Tern mask", (), "give --gas none"),
                              ("Tern mask", ("--pressure-bar", "1", "--gas", "air"), "--gas none")):
    status, events, error = session(tank, "measure", "--item", name, *options)
    assert status == 2 and wanted in error, error
status, events, error = session(tank, "measure", "--item", "Finger reel", "--trials", "2",
                                "--pressure-bar", "210", "--gas", "EAN32")
assert status in (0, 3), error
result = events[-1]["results"][0]
assert result["filled_with"] == "EAN32" and result["filling_bar"] == 210, result
told = "as weighed, at 210 bar of EAN32; changes by kilograms over a dive"
assert told in run("show", "Finger reel").stdout
assert "Finger reel: " + told in run("item", "list").stdout
again = run("measure", "--replay", result["run_id"], status=status).stdout
assert told in again and "the same as run" in again, again
with open(work + "/filled.txt", "w") as filled_list:
    filled_list.write("Tern mask\n")
status, events, error = session(tank, "measure", "--queue", work + "/filled.txt")
assert status == 2 and "give --gas none" in error, error
status, events, error = session(tank, "measure", "--queue", work + "/filled.txt", "--trials", "2", "--gas", "none")
assert status in (0, 3), error
assert "as weighed, emptied of gas" in run("show", "Tern mask").stdout

# ---- a long name is cut within a letter where it is shown as next: JSON all the same ----
name = "x" + "\u00e4" * 60
run("item", "add", "--name", name, "--kind", "fin")
with open(work + "/long.txt", "w") as long_list:
    long_list.write("Heron fin\n" + name + "\n")


def stop(event, process, events):
    process.stdin.write('{"id":%d,"answer":"stop"}\n' % event["id"])
    return True


status, events, error = session(tank, "measure", "--queue", work + "/long.txt", hook=stop)
assert "next: x\u00e4\u00e4" in events[0]["text"], events
tank.stdin.close()
tank.wait()
