#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""An afternoon of quick weighings: a bench that learned from full ones, a stock list, an item near a line, a
power cut, barcodes; then what is shown of it. Seconds are those of the simulated tank."""
import csv
import glob
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys

bench, tank_program, work = sys.argv[1:4]
os.makedirs(work)
catalogue, rig = work + "/catalogue", work + "/rig.ini"
tank = subprocess.Popen([tank_program, "--seed", "7"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
                        bufsize=1)
source = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()
port = json.loads(tank.stdout.readline())["port"]
open(rig, "w").write(re.sub(r"(?m)^path = .*$", "path = " + port, source))
FINS = ["Heron fin", "Plover fin", "Coot fin", "Grebe fin", "Smew long fin"]
STEPS = {"immerse", "shake", "lift-out"}


def cli(*words, status=0):
    done = subprocess.run([bench, *words, "--catalogue", catalogue], capture_output=True, text=True)
    assert done.returncode == status, (words, done.returncode, done.stdout, done.stderr)
    return done.stdout + done.stderr


def truth_g(name):
    tank.stdin.write(json.dumps({"truth": name}) + "\n")
    tank.stdin.flush()
    told = json.loads(tank.stdout.readline())
    return told["tank_g"] if "tank_g" in told else next(v for k, v in told.items() if k.endswith("_g"))


def weigh(*words, confirm="done", scans=(), kill=None, stop=None):
    """All events, the exit status, standard error."""
    process = subprocess.Popen([bench, *words, "--rig", rig, "--catalogue", catalogue, "--operator", "json"],
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               bufsize=1)
    events, scans = [], list(scans)
    for line in process.stdout:
        event = json.loads(line)
        events.append(event)
        if kill and kill(event, events):
            process.send_signal(signal.SIGKILL)
        elif event["event"] == "scan":
            process.stdin.write((json.dumps({"item": scans.pop(0)}) if scans else "") + "\n")
        elif event["event"] == "ask" and stop and stop(event, events):
            process.stdin.write(json.dumps({"id": event["id"], "answer": "stop"}) + "\n")
        elif event["event"] == "ask" and event["do"] == "confirm":
            process.stdin.write(json.dumps({"id": event["id"], "answer": confirm}) + "\n")
        elif event["event"] == "ask":
            tank.stdin.write(line)
            tank.stdin.flush()
            try:
                process.stdin.write(tank.stdout.readline())
            except BrokenPipeError: # killed
                pass
        try:
            process.stdin.flush()
        except BrokenPipeError:
            pass
    return events, process.wait(), process.stderr.read()


def seconds(events):
    """Of each item of a session or a queue, from its last ask to that of the item before it."""
    last = []
    for event in events:
        if event["event"] == "queue" or not last:
            last.append(None)
        if event["event"] == "ask" and event["do"] in STEPS and event["time_s"] > 0:
            last[-1] = event["time_s"]
    last = [time for time in last if time is not None]
    return [b - a for a, b in zip(last, last[1:])]


def results(events):
    return [e["results"][0] for e in events if e["event"] == "result" and e["results"]]


def records(kind):
    with sqlite3.connect(catalogue + "/catalogue.sqlite") as database:
        return [{**json.loads(facts), **json.loads(detail or "{}")} for facts, detail in
                database.execute("SELECT current.body, detail.body FROM current LEFT JOIN detail"
                                 " USING (sha256) WHERE kind = ? ORDER BY made_utc", (kind,))]


# ---- the bench learns from full weighings, in one queue: neighbours share the hanger there too ----
events, status, errors = weigh("calibrate", "--masses-g", "500,1000,2000", "--rounds", "2")
assert status == 0, errors
with open(work + "/first.csv", "w") as stream:
    stream.write("name,kind\n" + "".join(f"{name},fin\n" for name in FINS) + "Lead block,lead\n")
events, status, errors = weigh("measure", "--queue", work + "/first.csv", "--trials", "3", confirm="accept")
assert status in (0, 3) and "6 items of the list added" in errors, errors
full_s = seconds(events)
taught = [r["taught"] for r in records("run") if r.get("taught")]
assert len(taught) == 6 and all(t["simulated"] and not t["rejected"] for t in taught), taught
assert all(len(trace["off_kg"]) == 18 for t in taught for trace in t["traces"])
shown = cli("kind", "list")
learned_kinds = shown

# ---- what is no part of it ----
for words, said in ((["--trials", "3"], "does without it"), (["--mass-g", "900"], "together"),
                    (["--scan", "--item", "Heron fin"], "give only one")):
    events, status, errors = weigh("measure", "--quick", *(["--item", "Heron fin"] if "--scan" not in words else []),
                                   *words)
    assert status == 2 and said in errors and not events, (words, errors)
events, status, errors = weigh("measure", "--mass-g", "900", "--u-mass-g", "1", "--item", "Heron fin")
assert status == 2 and "needs --quick" in errors, errors

# ---- a stock list; the power fails while the third item hangs ----
near = truth_g("Coot fin")
lines = ["\ufeffStock number;Name;Kind;Size;Mass (g);U mass g"]
lines += [f"A-{100 + i};{name};fin;L;;" for i, name in enumerate(FINS)]
lines += ["A-200;Lead block;lead;;1004,0;0,5", "A-300;\"Tern mask\";mask;;;", ""]
with open(work + "/stock.csv", "w", newline="") as stream: # as a spreadsheet writes it
    stream.write("\r\n".join(lines))
hung = []


def third(event, events):
    if event["event"] == "queue":
        hung.append(event["item"])
    return len(hung) == 3 and event["event"] == "plateau" and event["of"] == "water"


words = ["measure", "--quick", "--queue", work + "/stock.csv"]
events, status, errors = weigh(*words, kill=third)
assert status == -signal.SIGKILL and hung == FINS[:3], (status, hung, errors)
assert "readings may end early: this bench has learned from" in errors, errors
first = results(events)
resumed, status, errors = weigh(*words, "--resume")
assert status in (0, 3), errors
quick = first + results(resumed)
assert len(quick) == 7, [r["class"] for r in quick]
quick_s = seconds(resumed)
names = {r["item_id"]: r for r in quick}
byname = {item["name"]: names[record] for record, item in
          ((row[0], json.loads(row[1])) for row in sqlite3.connect(catalogue + "/catalogue.sqlite").execute(
              "SELECT subject, body FROM current WHERE kind = 'item'")) if record in names}
assert all(r["is_quick"] and "quick weighing" in r["claim"] for r in quick)
ended = sum(r["quick"]["readings_ended_early"] for r in quick)
assert ended > 0, "nothing ended early"
heron = byname["Heron fin"]
assert heron["class"] == "negative" and heron["at_most_g"] < -50 and heron["expanded_u_g"] is None, heron
assert heron["quick"]["shakes"] == 0 and heron["quick"]["low_g"] is None
plover = byname["Plover fin"]
assert plover["class"] == "positive" and plover["at_most_g"] is None and plover["quick"]["shakes"] > 0, plover
for name, result in byname.items():
    true = truth_g(name)
    low, high = result["quick"]["low_g"], result["quick"]["high_g"]
    assert (low is None or low <= true) and true <= high, (name, low, true, high)
    wanted = "negative" if true < -result["tolerance_g"] else "positive" if true > result["tolerance_g"] else "neutral"
    assert result["class"] in (wanted, "undecided"), (name, true, result["class"])
waters = {e["results"][i]["water"] for e in resumed if e["event"] == "result" and e["results"]
          for i in range(len(e["results"])) if e["results"][0]["item_id"] == byname["Lead block"]["item_id"]}
assert waters == {"tank", "fresh", "sea"}, waters # the list told its dry mass
print("seconds from one item to the next: full %.0f, quick %.0f, %d of %d readings ended early" % (
    sum(full_s) / len(full_s), sum(quick_s) / len(quick_s), ended, sum(r["quick"]["readings"] for r in quick)))
assert sum(quick_s) / len(quick_s) < sum(full_s) / len(full_s) / 3

# ---- each run once more, to the digit ----
runs = {r["run_id"] for r in quick}
for run in sorted(runs):
    said = cli("measure", "--replay", run, status=3 if any(
        r["class"] == "undecided" for r in records("result") if r["run_id"] == run) else 0)
    assert "the same as run" in said, said

# ---- near a line: put aside; or weighed in full at once ----
cli("item", "edit", "Coot fin", "--tolerance-g", "%.1f" % max(abs(near), 1))
events, status, errors = weigh("measure", "--quick", "--item", "Coot fin")
aside = results(events)[-1]
assert status == 3 and aside["put_aside"] == "near the line", aside
asked = [e for e in events if e["event"] == "ask" and e["do"] == "confirm"]
assert not asked, asked # a single one is weighed in full by another command
open(work + "/one.txt", "w").write("Coot fin\nPlover fin\n")
events, status, errors = weigh("measure", "--quick", "--queue", work + "/one.txt", confirm="again")
kinds = [r["is_quick"] for r in results(events)]
asked = [e for e in events if e["event"] == "ask" and e["do"] == "confirm" and "Put it aside" in e["text"]]
assert len(asked) == 1 and asked[0]["item"] == "Coot fin", asked
assert kinds == [True, False, True], kinds
lists = glob.glob(catalogue + "/queues/*-put-aside.txt")
before = len(lists)
events, status, errors = weigh("measure", "--quick", "--queue", work + "/one.txt")
lists = set(glob.glob(catalogue + "/queues/*-put-aside.txt")) - set(lists)
assert len(lists) == 1 and "measure --rig" in errors and "--queue" in errors, errors
text = open(lists.pop()).read()
assert aside["item_id"] in text and "# Coot fin: too near the line" in text, text

# ---- barcodes, without a list ----
events, status, errors = weigh("measure", "--quick", "--scan", scans=["nothing like it", "A-300", "Plover fin"])
assert status in (0, 3), errors
assert [e["event"] for e in events if e["event"] in ("scan", "refused")] == ["scan", "refused"] + ["scan"] * 3
assert [e["item"] for e in events if e["event"] == "queue"] == ["Tern mask", "Plover fin"]

# What does not go with the plan, or is no item, is refused, and the next one scanned.
cli("item", "add", "--name", "A steel cylinder", "--kind", "cylinder")
os.rename(catalogue + "/queues", work + "/queues")
os.mkdir(work + "/of another")
os.symlink(work + "/of another", catalogue + "/queues")
events, status, errors = weigh("measure", "--quick", "--scan", scans=["A steel cylinder", "x" * 400, "\u00fc" * 200, {}, "A-300"])
assert status in (0, 3), errors
said = [e["text"] for e in events if e["event"] == "refused"]
assert len(said) == 4 and "give --pressure-bar and --gas" in said[0] and said[1] == said[2] == said[3], said
assert [e["item"] for e in events if e["event"] == "queue"] == ["Tern mask"]
# The catalogue's folder may come from somebody else: no table goes through a link.
assert "queues is a link, which is not followed" in errors and not os.listdir(work + "/of another"), errors
os.unlink(catalogue + "/queues")
os.rename(work + "/queues", catalogue + "/queues")

# The power fails while the second one hangs: it goes on, then the next one is scanned; one table of all.
def hangs(event, events):
    return len([e for e in events if e["event"] == "queue"]) == 2 and event["event"] == "plateau" and event["of"] == "water"


events, status, errors = weigh("measure", "--quick", "--scan", scans=["Plover fin", "A-300"], kill=hangs)
assert status == -signal.SIGKILL, errors
events, status, errors = weigh("measure", "--quick", "--scan", "--resume", scans=["Heron fin"])
assert status in (0, 3), errors
assert [e["event"] for e in events if e["event"] in ("scan", "queue")] == ["queue", "scan", "queue", "scan"], events
assert [e["item"] for e in events if e["event"] == "queue"] == ["Tern mask", "Heron fin"]
table = max(glob.glob(catalogue + "/queues/*.csv"), key=os.path.getmtime)
assert [row["name"] for row in csv.DictReader(open(table))] == ["Plover fin", "Tern mask", "Heron fin"]

# Enough for today: the item that waits is left, which is no failure.
def second(event, events):
    return len([e for e in events if e["event"] == "queue"]) == 2


events, status, errors = weigh("measure", "--quick", "--queue", work + "/one.txt", stop=second)
assert status in (0, 3) and len(results(events)) == 1, (status, errors)
assert "1 of 2 items left" in errors and "a result needs" not in errors, errors

# ---- what is shown ----
tables = sorted(glob.glob(catalogue + "/queues/*.csv"))
rows = [row for table in tables for row in csv.DictReader(open(table))]
assert {row["weighing"] for row in rows} == {"quick", "full"}
row = next(row for row in rows if row["name"] == "Heron fin")
assert row["net_g"] == "" and row["low_g"] == "" and float(row["at_most_g"]) < -50, row
listed = cli("item", "list")
line = next(line for line in listed.splitlines() if "Tern mask" in line)
assert "quick" in line, listed
line = next(line for line in listed.splitlines() if "Heron fin" in line)
assert "quick" not in line and "at most" not in line, line # the full one counts
assert "this full one counts" in listed, listed
shown = cli("show", "Heron fin")
assert "at most" in shown and ", quick" in shown and "a full weighing counts before a quick one" in shown, shown
explained = cli("explain", heron["run_id"][:0] + next(
    r for r in [row for row in json.loads(cli("show", "Heron fin", "--json"))["results"]] if r["is_quick"])["result_id"])
assert "there is no lower end" in explained and "look 1 of 5" in explained, explained
exported = list(csv.DictReader(open(catalogue + "/exchange/results.csv")))
assert any(r["is_quick"] == "true" and r["at_most_g"] and not r["expanded_u_g"] for r in exported)
assert all("quick weighing" in r["claim"] for r in exported if r["is_quick"] == "true")
said = cli("decide", "--item", "Tern mask", "--tolerance-g", "30")
assert "not judged: a quick weighing" in said, said
assert cli("kind", "list") != "" and records("trial")
full_runs = {r["run_id"] for r in records("result") if not r["is_quick"]}
assert all(bool(t.get("is_quick")) == (t["run_id"] not in full_runs) for t in records("trial")
           if t["run_id"] in full_runs | runs)

# ---- full weighings of a queue on a bench that has learned are shorter ----
events, status, errors = weigh("measure", "--queue", work + "/first.csv", "--trials", "3", confirm="accept")
assert status in (0, 3), errors
shortened = [t for t in records("trial") if t.get("readings_ended_early")]
print("full weighings on a bench that has learned: %d readings of %d trials ended early" % (
    sum(t["readings_ended_early"] for t in shortened), len(shortened)))
assert shortened
assert all(t["early_freed_counts"] >= 0 and t["shakes_set"] and not t.get("is_quick") and t["number"] > 1 for t in shortened)
said = cli("measure", "--replay", shortened[-1]["run_id"])
assert "the same as run" in said, said
result = next(r for name in FINS for r in json.loads(cli("show", name, "--json"))["results"]
              if r["run_id"] == shortened[-1]["run_id"] and r["water"] == "tank")
explained = cli("explain", result["result_id"])
assert "of its first readings ended early: the air it freed lies within" in explained, explained
tank.stdin.close()
print("ok")
