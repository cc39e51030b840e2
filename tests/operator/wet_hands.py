#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""An afternoon of quick weighings by somebody who has a pedal, one lamp, a buzzer and the list on paper: no screen
and no keyboard. What to do is told by the lamp's rhythm alone (rigs/wet-hands.md). usage: wet_hands.py UPTHRUST
UPTHRUST-WITH-PRETENDED-LINES TANK WORK"""
import csv
import glob
import json
import os
import re
import select
import subprocess
import sys
import time

bench, pretended, tank_program, work = sys.argv[1:5]
os.makedirs(work)
catalogue, rig, panel = work + "/catalogue", work + "/rig.ini", work + "/panel.ini"
PEDAL, LAMP, BUZZER = 1, 2, 3
tank = subprocess.Popen([tank_program, "--seed", "7"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
                        bufsize=1)
source = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()
port = json.loads(tank.stdout.readline())["port"]
source = re.sub(r"(?m)^path = .*$", "path = " + port, source)
open(rig, "w").write(source)
with open(panel, "w") as stream:
    stream.write(source)
    stream.write(f"[pedal]\nline = /dev/null {PEDAL}\nbias = none\nactive = high\ndouble_ms = 150\n"
                 f"[buzzer]\nline = /dev/null {BUZZER}\nactive = high\n"
                 f"[lamps]\nactive = high\nall = /dev/null {LAMP}\nresult_s = 30\n")


def cli(*words):
    return subprocess.run([bench, *words, "--catalogue", catalogue], capture_output=True, text=True, check=True).stdout


# ---- what was done before, by a program: a calibration, and what the kind scatters by ----
def prepare(*words):
    process = subprocess.Popen([bench, *words, "--rig", rig, "--catalogue", catalogue, "--operator", "json"],
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               bufsize=1)
    for line in process.stdout:
        event = json.loads(line)
        if event["event"] == "ask":
            tank.stdin.write(line)
            tank.stdin.flush()
            process.stdin.write(tank.stdout.readline())
            process.stdin.flush()
    errors = process.stderr.read()
    assert process.wait() in (0, 3), errors


# ---- ears and eyes ----
os.mkfifo(work + "/pedal")
os.mkfifo(work + "/lamps")
lamps = os.open(work + "/lamps", os.O_RDWR)
foot = os.open(work + "/pedal", os.O_RDWR)
text, lit, beeps, beep_s = b"", [(0.0, 0)], [], None  # the lamp's levels, each since when; beeps that ended


def watch(until_s):
    """Takes in what lamp and buzzer do."""
    global text, beep_s
    ready, _, _ = select.select([lamps], [], [], max(0, until_s - time.monotonic()))
    if not ready:
        return
    text += os.read(lamps, 65536)
    *lines, text = text.split(b"\n")
    for line in lines:
        at, level, time_s = line.split()
        at, level, time_s = int(at), int(level), float(time_s)
        if at == LAMP:
            lit.append((time_s, level))
        elif level:
            beep_s = time_s
        elif beep_s is not None:
            beeps.append((beep_s, time_s - beep_s))
            beep_s = None


LONG = (0.6, 9)  # of a beat that may still go on
RHYTHMS = {"take off": (1.3, 0.2, LONG), "shake": (1.3, 0.2, 0.2, 0.2, LONG),
           
           "answer": (1.3, 0.2, 0.2, 0.2, 0.2, 0.2, LONG),
           "all off": (1.3, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, LONG), "positive": (0.2, 0.3, 0.9), "negative": (0.9, 0.3, 0.2),
           "neutral": (0.9, 0.3, 0.9), "undecided": (0.2, 0.3, 0.2, 0.3, 0.2), "hang": ((1.7, 999),)}


def fits(beat_s, wanted, goes_on):
    if isinstance(wanted, tuple):
        return wanted[0] <= beat_s <= wanted[1]
    return not goes_on and abs(beat_s - wanted) < 0.09


def rhythm_since(since_s):
    """Of the lamp from then on; None: not seen yet."""
    now_s = time.monotonic()
    level = [entry for entry in lit if entry[0] <= since_s][-1][1]
    edges = [(since_s, level)] + [entry for entry in lit if entry[0] > since_s]
    edges = [edge for i, edge in enumerate(edges) if i == 0 or edge[1] != edges[i - 1][1]]
    beats = [(end_s - begin_s, level) for (begin_s, level), (end_s, _) in zip(edges, edges[1:] + [(now_s, None)])]
    for first in range(len(beats)):
        for name, wanted in RHYTHMS.items():
            seen = beats[first:first + len(wanted)]
            if beats[first][1] == 1 and len(seen) == len(wanted) and all(
                    fits(beat_s, want, first + i == len(beats) - 1)
                    for i, ((beat_s, _), want) in enumerate(zip(seen, wanted))):
                return name
    return None


def press(*held_s):
    time.sleep(0.45)  # one that comes sooner is no answer
    for down_s in held_s:
        os.write(foot, b"1")
        time.sleep(down_s)
        os.write(foot, b"0")


def next_sign(process):
    """("turn" or "result", rhythm) as it was heard and seen; None at the end."""
    while process.poll() is None:
        watch(time.monotonic() + 0.05)
        while beeps:
            begun_s, length_s = beeps.pop(0)
            assert not 0.35 < length_s < 0.55, "a fault"
            if length_s < 0.08:  # the tick of an answer
                continue
            seen, until_s = None, time.monotonic() + 20
            while seen is None and time.monotonic() < until_s:
                watch(time.monotonic() + 0.05)
                seen = rhythm_since(begun_s)
            return ("result" if length_s > 0.55 else "turn"), seen
    return None


# ---- the afternoon ----
FINS = ["Heron fin", "Plover fin", "Coot fin"]
prepare("calibrate", "--masses-g", "500,1000,2000", "--rounds", "2")
open(work + "/first.csv", "w").write("name,kind\n" + "".join(f"{name},fin\n" for name in FINS))
prepare("measure", "--queue", work + "/first.csv", "--trials", "3")
tank.stdin.write(json.dumps({"truth": "Coot fin"}) + "\n")
tank.stdin.flush()
near_g = abs(json.loads(tank.stdout.readline())["truth_g"])
cli("item", "edit", "Coot fin", "--tolerance-g", "%.1f" % max(near_g, 1))
open(work + "/list.txt", "w").write("\n".join(FINS) + "\n")


def act(words):
    tank.stdin.write(words + "\n")
    tank.stdin.flush()
    said = tank.stdout.readline()
    assert " at " in said, (words, said)


with open(work + "/out", "w") as out, open(work + "/err", "w") as err:
    process = subprocess.Popen([pretended, "measure", "--quick", "--queue", work + "/list.txt", "--rig", panel,
                                "--catalogue", catalogue, "--operator", "pedal"], stdin=subprocess.DEVNULL, stdout=out,
                               stderr=err, env={**os.environ, "PRETENDED_PEDAL": work + "/pedal",
                                                "PRETENDED_LAMPS": work + "/lamps"})
papers, hangs, ballast, forgotten, told, seen = list(FINS), False, False, False, {}, []
try:
    while (sign := next_sign(process)) is not None:
        what, rhythm = sign
        seen.append(sign)
        if what == "result":
            told[papers.pop(0)] = rhythm
            press(0.1)
            continue
        if rhythm == "all off":
            assert not hangs, seen
            ballast = False
            act("bare-hook")
        elif rhythm == "hang" and not ballast:  # what hangs there first
            ballast = True
            act("add-ballast") if forgotten else None
        elif rhythm == "take off" and not forgotten:  # the ballast was forgotten once
            forgotten = True
        elif rhythm == "hang":
            assert not hangs, seen
            hangs = True
            act("immerse " + papers[0])
        elif rhythm == "shake":
            assert hangs, seen
            act("shake")
        elif rhythm in ("take off", "positive", "neutral", "negative"):
            act("lift-out" if hangs else "empty-in-water")
            hangs = False
        else:  # a question: the short press is the safe answer
            assert rhythm == "answer" and not hangs, seen
        press(0.1)
finally:
    process.kill() if process.poll() is None else None
status = process.wait()
watch(time.monotonic() + 0.2)
tank.stdin.close()

# ---- as the catalogue has it ----
errors = open(work + "/err").read()
assert errors.count("this bench has not learned yet") == 1, errors
assert status == 3 and not papers, (status, papers, seen, errors)
assert lit[-1][1] == 0, "the lamp is out at the end"
tables = glob.glob(catalogue + "/queues/*.csv")
rows = {row["name"]: row for row in csv.DictReader(open(tables[0]))}
assert len(tables) == 1 and {name: row["class"] for name, row in rows.items()} == told, (told, rows)
assert told == {"Heron fin": "negative", "Plover fin": "positive", "Coot fin": "undecided"}, told
turns = [rhythm for what, rhythm in seen if what == "turn"]
assert {"hang", "take off", "shake", "answer", "negative", "positive"} <= set(turns), turns
aside = open(glob.glob(catalogue + "/queues/*-put-aside.txt")[0]).read()
assert "# Coot fin" in aside and "# Heron" not in aside, aside
print("%d items by %d presses: %s" % (len(told), len(seen), ", ".join("%s %s" % item for item in told.items())))
