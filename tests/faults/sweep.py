#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Fails each call of a small session in turn, and judges what came of it.

A library put before the program (fail_nth.c) first counts its allocations, writes, syncs, opens and renames,
then fails one of them a time: each system call, and each allocation whose callers had not been met before, at its
first and its last. A command that one call of has failed must be done (the same records as ever), or refused in one
line. Either way nothing that was acknowledged is lost, each record stored is complete, and the next
run works.
"""
import argparse
import concurrent.futures
import errno
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import threading
import zlib

arguments = argparse.ArgumentParser()
for name in ("program", "tank_program", "library", "work"):
    arguments.add_argument(name)
arguments.add_argument("--sample", type=int, default=1, help="one call in so many")
arguments.add_argument("--key", default="", help="says which ones")
arguments.add_argument("only", nargs="*")
arguments = arguments.parse_intermixed_args()
program, tank_program, library, work = (os.path.abspath(p) for p in (
    arguments.program, arguments.tank_program, arguments.library, arguments.work))
drawn = zlib.crc32(arguments.key.encode()) % arguments.sample
RIG = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()
RIG = re.sub(r"(?m)^path = .*$", "path = port", RIG)
PATIENCE_S = 60
NOT_COPIED = shutil.ignore_patterns("port", "words", "says")

# What a call of a kind can end with: the error, and whether all later ones end so too.
WAYS = {"memory": [(errno.ENOMEM, False)], "write": [(errno.ENOSPC, True), (errno.EIO, False)],
        "sync": [(errno.EIO, False)], "open": [(errno.EMFILE, False)], "rename": [(errno.EACCES, False)]}

# A small session, a command after the other; each is swept in a place where those before it went well.
SESSION = {
    "item add": ["item", "add", "--name", "Lead block", "--kind", "lead"],
    "calibrate": ["calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase"],
    "measure": ["measure", "--item", "Lead block", "--trials", "4", "--water", "fresh"],
    "decide": ["decide", "--all", "--tolerance-g", "80"],
    "export": ["export", "--format", "csv", "--to", "shared"],
    "merge": ["merge", "another"],
}
AT_THE_TANK = ("calibrate", "measure")


def at_home(catalogue):
    """What was made in a folder counts in a copy of it only once it is adopted: here it is, to the marks."""
    file = catalogue + "/catalogue.sqlite"
    if not os.path.exists(file):
        return
    with sqlite3.connect(file) as database:
        record = database.execute("SELECT id FROM record LIMIT 1").fetchone()[0]
    subprocess.run([program, "check-catalogue", "--set-aside", record, "--reason", "for its mark", "--catalogue", catalogue],
                   check=True, capture_output=True)
    with sqlite3.connect(file) as database:
        database.execute("UPDATE local_mark SET place = (SELECT place FROM local_mark WHERE mark = 'aside')")
        database.execute("DELETE FROM local_mark WHERE mark = 'aside'")
    subprocess.run([program, "check-catalogue", "--rebuild", "--catalogue", catalogue], check=True, capture_output=True)


class Place:
    """A folder with a catalogue, and what a command did there."""

    def __init__(self, at, source=None):
        self.at = at
        if source is None:
            os.makedirs(at)
            open(at + "/rig.ini", "w").write(RIG)
        else:
            shutil.copytree(source, at, ignore=NOT_COPIED)
            at_home(at + "/catalogue")
        self.told, self.words, self.status, self.tank = [], "", None, None

    def run(self, words, **fail):
        """The command to its end, with what the library is told."""
        before = {"LD_PRELOAD": library, **{"FAIL_" + key.upper(): str(value) for key, value in fail.items()}}
        environment = {**os.environ, **(before if fail else {})}
        self.told = []
        if words[0] in AT_THE_TANK:
            self.at_the_tank(words, environment)
        else:
            run = subprocess.run([program, *words], cwd=self.at, env=environment, stdin=subprocess.DEVNULL,
                                 capture_output=True, text=True, timeout=PATIENCE_S)
            self.status, self.words = run.returncode, run.stderr
        return self.status

    def at_the_tank(self, words, environment):
        if self.tank is None:
            self.tank = subprocess.Popen([tank_program, "--seed", "9", "--link", "port"], cwd=self.at,
                                         stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
            self.tank.stdout.readline()
        with open(self.at + "/words", "w") as errors, subprocess.Popen(
                [program, *words, "--rig", "rig.ini", "--operator", "json"], cwd=self.at, env=environment,
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors, text=True, bufsize=1) as bench:
            watchdog = threading.Timer(PATIENCE_S, bench.kill)  # both may wait for each other
            watchdog.start()
            for line in bench.stdout:
                self.hear(line, bench)
            self.status = bench.wait()
            watchdog.cancel()
            try:
                bench.stdin.close()
            except BrokenPipeError:  # an answer for one that had ended
                pass
        self.words = open(self.at + "/words").read()

    def hear(self, line, bench):
        try:
            event = json.loads(line)
        except ValueError:  # the end of a line was lost; so will be the program
            return
        self.told.append(event)
        if event["event"] == "ask":
            self.tank.stdin.write(json.dumps({**event, "time_s": 0}) + "\n")
            try:
                bench.stdin.write(self.tank.stdout.readline())
            except BrokenPipeError:
                pass

    def close(self):
        if self.tank is not None:
            self.tank.kill()
            self.tank.communicate()
        shutil.rmtree(self.at)

    def rows(self, sql):
        database = sqlite3.connect(self.at + "/catalogue/catalogue.sqlite")
        try:
            return database.execute(sql).fetchall()
        finally:
            database.close()

    def records(self):
        if not os.path.exists(self.at + "/catalogue/catalogue.sqlite") or not self.rows("SELECT 1 FROM sqlite_master"):
            return []
        return [(id, kind, {**json.loads(facts), **json.loads(detail or "{}")}) for id, kind, facts, detail in self.rows(
            "SELECT id, kind, record.body, detail.body FROM record LEFT JOIN detail USING (sha256)")]


def form(value):
    """The members of a record, whatever they say."""
    if isinstance(value, dict):
        return tuple(sorted((key, form(member)) for key, member in value.items()))
    return ("list", form(value[0]) if value else None) if isinstance(value, list) else None


def forms(records):
    """A key that cannot be read is replaced by one of the program alone, which says so in a record of its own."""
    return {(kind, form(body)) for _, kind, body in records if kind not in ("run", "writer")}


def check_runs(records):
    """How one began stands in each version; how it ended, in the last."""
    began = {"begun_utc", "bench", "bench_sequence", "how_ended", "rig_file", "rig_record_id", "rig_sha256", "version", "what"}
    ways = {None: set(), "completed": {"trials", "results", "plateaus"}, "stopped": {"trials", "results", "plateaus"},
            "failed": {"trials", "results", "plateaus", "reason"}, "crashed": {"trials"}}
    for _, kind, body in records:
        if kind == "run":
            lacks = (began | ways[body["how_ended"]]) - set(body)
            assert not lacks, ("a run's record lacks", lacks, body["how_ended"])
            assert ("item_id" in body) == ("calibration_id" in body) == (body["what"] == "measure"), body


def numbers(records):
    """What a session found, without ids and times."""
    return sorted(((kind, body.get("water"), body.get("number"), body.get("buoyancy_g"), body.get("slope_counts_kg"),
                   body.get("how_ended")) for _, kind, body in records if kind != "writer"), key=repr)


class Sweep:
    """One command: how it goes well, and what its calls are."""

    def __init__(self, name, base):
        self.name, self.base, self.words = name, base, SESSION[name]
        place = Place("%s/%s-well" % (work, name.replace(" ", "-")), base)
        before = {record[0] for record in place.records()}
        assert place.run(self.words, says=place.at + "/says") in (0, 3), place.words
        self.status = place.status
        self.old = before
        self.found = numbers(self.fresh(place))
        self.calls, self.places = {}, set()
        self.count(place)
        place.close()

    def count(self, place):
        for line in open(place.at + "/says"):
            word, *counts = line.split()
            if word == "place":
                self.places.update(int(count) for count in counts)
            else:
                self.calls[word] = int(counts[0])

    def fresh(self, place):
        return [record for record in place.records() if record[0] not in self.old]

    def chosen(self, kind):
        every = sorted(self.places) if kind == "memory" else range(1, self.calls[kind] + 1)
        return [number for i, number in enumerate(every) if i % arguments.sample == drawn]

    def check_kept(self, place, acknowledged):
        """All that was told as stored is, and all of it is whole."""
        records = place.records()
        stored = {record[0] for record in records}
        assert self.old <= stored, "a record of before is gone"
        trials = {body["number"] for _, kind, body in self.fresh(place) if kind == "trial"}
        assert acknowledged <= trials, ("a trial is lost", acknowledged, trials)
        odd = forms(records) - known_forms
        assert not odd, ("a record lacks members", odd)
        check_runs(records)
        if stored:
            assert place.rows("PRAGMA integrity_check") == [("ok",)]

    def check_next(self, place, acknowledged):
        """The same again without a fault, or what is left of it."""
        resumed = place.words.count("--resume") > 0
        words = [self.words[0], "--resume"] if resumed else self.words
        place.run(words)
        assert place.status == self.status, ("the next run", place.status, place.words)
        self.check_kept(place, acknowledged)

    def attempt(self, kind, number, error, stays):
        at = "%s/%s-%s-%d-%d" % (work, self.name.replace(" ", "-"), kind, number, error)
        place = Place(at, self.base)
        try:
            return self.judge(place, kind, number, error, stays)
        finally:
            place.close()

    def judge(self, place, kind, number, error, stays):
        """How it ended, in a word: done, refused or not met; raises what is wrong with it."""
        says = place.at + "/says"
        place.run(self.words, kind=kind, at=number, errno=error, says=says, **({"stays": 1} if stays else {}))
        failed = os.path.exists(says)
        acknowledged = {event["number"] for event in place.told if event["event"] == "trial"}
        lines = [line for line in place.words.splitlines() if not line.startswith("note: ")]
        if place.status == self.status:
            same = numbers(self.fresh(place))
            assert same == self.found, ("done, but not the same", same, self.found)
            assert not lines, place.words
            ended = "done" if failed else "not met"
        else:
            assert place.status in (1, 2), ("it ended with", place.status, place.words)
            assert len(lines) == 1 and lines[0].startswith("upthrust: "), ("not one line", place.words)
            assert failed, ("nothing had failed", place.words)
            ended = "refused"
        self.check_kept(place, acknowledged)
        stored = {record[0] for record in place.records()}
        self.check_next(place, acknowledged)
        assert stored <= {record[0] for record in place.records()}, "a record that was stored is gone"
        return ended


def trouble(sweep, job):
    try:
        return job, sweep.attempt(*job), None
    except Exception as problem:
        return job, "wrong", repr(problem)


def sweep_kind(pool, sweep, kind):
    """A row of the table: how many calls ended in which way."""
    jobs = [(kind, number, error, stays) for error, stays in WAYS[kind] for number in sweep.chosen(kind)]
    ended = {"done": 0, "refused": 0, "not met": 0, "wrong": 0}
    wrong = []
    if not jobs:
        return None
    for job, how, problem in pool.map(lambda job: trouble(sweep, job), jobs):
        ended[how] += 1
        if problem:
            wrong.append("#   call %d, %s: %s" % (job[1], errno.errorcode[job[2]], problem[:600]))
    print("%-10s %-7s %6d calls, %5d failed in turn: %5d done, %5d refused, %3d not met, %3d wrong" % (
        sweep.name, kind, sweep.calls[kind], len(jobs), ended["done"], ended["refused"], ended["not met"], ended["wrong"]))
    print("\n".join(wrong[:20]), end="\n" if wrong else "")
    sys.stdout.flush()
    return ended


def prepare():
    """A place before each command, and the members that records have when all goes well."""
    place, bases = Place(work + "/session"), {}
    other = Place(work + "/other")
    other.run(["item", "add", "--name", "Cork", "--kind", "float", "--holds-gas", "no"])
    shutil.copytree(other.at + "/catalogue", place.at + "/another")
    for name, words in SESSION.items():
        bases[name] = shutil.copytree(place.at, "%s/before-%s" % (work, name.replace(" ", "-")), ignore=NOT_COPIED)
        assert place.run(words) in (0, 3), (words, place.words)
    known = forms(place.records())
    place.close()
    return bases, known


chosen = [(name, kind) for name in SESSION for kind in WAYS
          if not arguments.only or any(word in "sweep " + name + " " + kind for word in arguments.only)]
if not os.path.exists(library):
    print("# SKIP the sweep of failed calls: its library is not built for this machine")
    chosen = []
os.makedirs(work)
bases, known_forms = prepare() if chosen else ({}, set())
totals = {"done": 0, "refused": 0, "not met": 0, "wrong": 0}
passed = failed = 0
sweeps = {}
with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
    for name, kind in chosen:
        if name not in sweeps:
            sweeps[name] = Sweep(name, bases[name])
        ended = sweep_kind(pool, sweeps[name], kind)
        if ended is None:  # it makes no such call, or none was drawn
            continue
        totals = {how: totals[how] + ended[how] for how in totals}
        passed, failed = passed + (ended["wrong"] == 0), failed + (ended["wrong"] > 0)
if chosen:
    print("all: %(done)d done, %(refused)d refused in a line, %(not met)d not met, %(wrong)d wrong" % totals)
print("%d passed, %d failed" % (passed, failed))
sys.exit(failed > 0)
