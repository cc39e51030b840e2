# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a fault is caused: a tank, a wire of our own before it, a catalogue, and the program that is run there."""
import argparse
import json
import os
import pty
import re
import select
import sqlite3
import subprocess
import sys
import threading
import time
import traceback
import tty
import zlib

arguments = argparse.ArgumentParser()
for name in ("program", "tank_program", "work"):
    arguments.add_argument(name)
arguments.add_argument("--sample", type=int, default=1, help="one fault in so many")
arguments.add_argument("--key", default="", help="says which ones")
arguments.add_argument("only", nargs="*")
arguments = arguments.parse_intermixed_args()
program, tank_program, work, only = arguments.program, arguments.tank_program, arguments.work, arguments.only
drawn = zlib.crc32(arguments.key.encode()) % arguments.sample
here = os.path.dirname(os.path.abspath(__file__))
RIG = open(here + "/../../rigs/simulated.ini").read()
ITEM = "Lead block"
TRIALS = 3
os.makedirs(work)
faults = count = failures = skipped = 0


class Wire(threading.Thread):
    """A cable from the tank's port to a link that the rig file names."""

    def __init__(self, port, link):
        super().__init__(daemon=True)
        self.link, self.lines, self.bend, self.ends, self.trouble = link, 0, None, False, None
        self.device = os.open(port, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.device)
        self.lock = threading.Lock()
        self.ours = None
        self.plug_in()
        self.start()

    def plug_in(self):
        with self.lock:
            ours, theirs = pty.openpty()
            tty.setraw(theirs)
            if os.path.islink(self.link):
                os.unlink(self.link)
            os.symlink(os.ttyname(theirs), self.link)
            self.theirs, self.ours = theirs, ours

    def pull_out(self):
        with self.lock:
            os.close(self.ours)
            os.close(self.theirs)
            self.ours = None
            os.unlink(self.link)

    def turn_to(self, port):
        """The same cable, another device at its end."""
        with self.lock:
            os.close(self.device)
            self.device = os.open(port, os.O_RDWR | os.O_NOCTTY)
            tty.setraw(self.device)

    def pass_on(self, text):
        bent = b""
        for line in text.splitlines(keepends=True):
            self.lines += 1
            bent += self.bend(line) if self.bend else line
        if self.ours is not None:
            os.write(self.ours, bent)

    def run(self):
        rest = b""
        while not self.ends:
            ends = [e for e in (self.device, self.ours) if e is not None]
            try:
                ready = select.select(ends, [], [], 0.05)[0]
                with self.lock:
                    if self.device in ready:
                        whole, line_end, rest = (rest + os.read(self.device, 65536)).rpartition(b"\n")
                        self.pass_on(whole + line_end)
                    if self.ours is not None and self.ours in ready:
                        os.write(self.device, os.read(self.ours, 65536))
            except (OSError, ValueError) as problem:  # one of them was pulled out meanwhile
                self.trouble = repr(problem)
                time.sleep(0.01)


class Place:
    """A tank, a wire and a catalogue with a calibration, fresh for each fault."""

    def __init__(self, name, rig="", tank=(), seed=9, polled=True):
        self.at = os.path.join(work, re.sub(r"\W+", "-", name))
        os.makedirs(self.at)
        self.catalogue, self.rig, self.link = (self.at + "/" + n for n in ("catalogue", "rig.ini", "port"))
        self.tanks = []
        self.wire = Wire(self.start_tank(seed, *tank), self.link)
        text = re.sub(r"(?m)^path = .*$", "path = " + self.link, RIG)
        if not polled:
            text = re.sub(r"(?m)^poll.*\n", "", text)
        open(self.rig, "w").write(text + rig)
        self.words, self.clock_s = "", 0
        self.seen, self.trials, self.faults = 0, [], ""

    def start_tank(self, seed, *options):
        self.tank = subprocess.Popen([tank_program, "--seed", str(seed), *options], stdin=subprocess.PIPE,
                                     stdout=subprocess.PIPE, text=True, bufsize=1)
        self.tanks.append(self.tank)
        self.clock_s = 0
        return json.loads(self.tank.stdout.readline())["port"]

    def close(self):
        self.wire.ends = True
        for tank in self.tanks:
            tank.kill()
            tank.wait()
        self.wire.join()

    def prepare(self):
        self.run_program("item", "add", "--name", ITEM, "--kind", "lead")
        status = self.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase")
        assert status == 0, self.words
        self.forget()

    def run_program(self, *words):
        return subprocess.run([program, *words, "--catalogue", self.catalogue], capture_output=True, text=True)

    def act(self, line, word=None):
        """What the ask wants, done at the tank; its answer."""
        event = json.loads(line)
        # A tank that began anew has a clock of its own, far behind the bench's.
        self.tank.stdin.write(json.dumps({**event, "time_s": self.clock_s}) + "\n")
        return self.tank.stdout.readline()

    def session(self, command, *words, hook=None):
        """The program to its end; `hook` may answer an event itself. Its status."""
        self.process = subprocess.Popen(
            [program, command, *words, "--rig", self.rig, "--catalogue", self.catalogue, "--operator", "json"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1)
        self.events = []
        for line in self.process.stdout:
            event = json.loads(line)
            self.events.append(event)
            self.note(event)
            answer = hook(event) if hook else None
            if event["event"] != "ask" or answer is False:
                continue
            try:
                self.process.stdin.write(answer or self.act(line))
            except BrokenPipeError:
                pass
        status = self.process.wait()
        said = self.process.stderr.read().strip().splitlines()  # no fault here is about bodies
        self.words = "\n".join(line for line in said if not line.startswith("note: no reference body"))
        try:
            self.process.stdin.close()
        except BrokenPipeError:  # an answer for one that was killed
            pass
        return status

    def note(self, event):
        kind = event["event"]
        if kind == "plateau":
            self.seen += 1
        elif kind == "fault":
            self.faults += event["text"] + " | "
        elif kind == "trial":
            self.trials.append(event)

    def forget(self):
        """What was measured until now is of no more interest."""
        self.old = {row[0] for row in self.database("SELECT id FROM record WHERE kind = 'trial'")}
        self.seen, self.trials, self.faults = 0, [], ""

    def stored(self):
        rows = self.database("SELECT id, json_extract(body, '$.number') FROM record WHERE kind = 'trial'")
        return sorted(number for id, number in rows if id not in self.old)

    def readings(self, asides=3):
        """Readings in vain: all but the dry weighing with its tares and the trials with theirs."""
        return self.seen - asides - sum(2 + shakes for shakes in self.shakes())

    def shakes(self):
        rows = self.database("SELECT id, json_extract(body, '$.shakes') FROM record WHERE kind = 'trial'")
        return [shakes for id, shakes in rows if id not in self.old]

    def check_end(self, status, wanted=TRIALS):
        """A session that is complete: all trials once, the truth, and the replay gives the same."""
        assert status in (0, 3), (status, self.words, self.faults)
        assert self.stored() == list(range(1, wanted + 1)), self.stored()
        result = self.events[-1]["results"][0]
        assert result["trials"] == wanted, result
        self.tank.stdin.write('{"truth":"%s"}\n' % ITEM)
        truth_g = json.loads(self.tank.stdout.readline())["truth_g"]
        off_g = result["buoyancy_g"] - truth_g
        assert abs(off_g) < 5 * result["u_buoyancy_g"] + 0.1, (off_g, result["u_buoyancy_g"])
        again = self.run_program("measure", "--replay", result["run_id"])
        assert "the same as run " in again.stdout, again
        explained = json.loads(self.run_program("explain", ITEM, "--json").stdout)
        explained = explained.get("explanation", explained)
        assert [t["number"] for t in explained["trials"]] == list(range(1, wanted + 1)), explained["trials"]
        assert "air" in explained, explained.keys()
        assert self.database("PRAGMA integrity_check") == [("ok",)]

    def database(self, sql):
        with sqlite3.connect(self.catalogue + "/catalogue.sqlite") as database:
            return database.execute(sql).fetchall()

    def way_on(self, words=None):
        """The command that the program told; its own words, run as they stand."""
        found = re.search(r"`(?:[^` ]*/)?upthrust ([^`]*)`", words or self.words)
        assert found, words or self.words
        return found[1].split()

    def resume(self, hook=None, words=None):
        command = self.way_on(words)
        at = command.index("--resume")
        return self.session(command[0], *command[at:], hook=hook)


def fault(name, caused, **how):
    """Runs a function as one fault: it gets a place and returns cost and words."""
    def run(function):
        global faults, count, failures, skipped
        faults += 1
        if faults % arguments.sample != drawn or only and not any(word in name for word in only):
            return
        count += 1
        place = Place(name, **how)
        try:
            place.prepare()
            cost, said = function(place)
            said = said.replace(place.at + "/", "")
            if said.startswith("# SKIP"):
                skipped += 1
                print("ok %d - %s %s" % (count, name, said))
            else:
                print("ok %d - %-42s | %-70s | cost %s | said: %s" % (count, name, caused, cost, said))
        except Exception:
            failures += 1
            print("not ok %d - %s | %s" % (count, name, caused))
            print("\n".join("#   " + line for line in traceback.format_exc().splitlines()[-6:]))
            print("#   words: %s" % place.words)
            print("#   faults: %s" % place.faults)
            print("#   wire: %d lines, %s; tank %s" % (place.wire.lines, place.wire.trouble, place.tank.poll()))
        finally:
            place.close()
        sys.stdout.flush()
    return run


def at_ask(place, number, what, when="ask"):
    """A hook that does `what` at the ask of that number, from 0; or at any event that `when` is true for."""
    state = {"asks": 0, "done": False}
    def hook(event):
        hit = event["event"] == "ask" and state["asks"] == number if when == "ask" else when(event)
        state["asks"] += event["event"] == "ask"
        if hit and not state["done"]:
            state["done"] = True
            return what(event)
        return None
    return hook


def nth(kind, key, value, number):
    """True at the so-manieth event of a kind with a member of that value."""
    seen = [0]
    def when(event):
        hit = event["event"] == kind and event.get(key) == value
        seen[0] += hit
        return hit and seen[0] == number
    return when


def cost_of(place, in_vain=None):
    in_vain = place.readings() if in_vain is None else in_vain
    most = 2 + max(place.shakes()) + 1
    assert 0 <= in_vain <= most, (in_vain, most)
    return "%d reading%s of the trial under way" % (in_vain, "" if in_vain == 1 else "s")


def last(words):
    """One line says what is wrong; notes may stand before it."""
    lines = words.splitlines()
    assert all(line.startswith("note: ") for line in lines[:-1]) and lines[-1].startswith("upthrust: "), words
    return lines[-1]


def first(words):
    return words.splitlines()[0] if words else ""


def conclude():
    print("1..%d" % count)
    print("%d passed, %d failed" % (count - failures - skipped, failures))
    sys.exit(failures > 0)
