#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Causes every fault of a session on purpose, between the real program and the simulated tank, and tells
in a line each how it was caused, what it cost and what the program said.

Between the two lies a wire of our own, on which lines can be bent and which can be pulled out. Cost is
counted in readings: those that were taken less those that the trials are made of. A fault may cost the
trial under way and the tare that is then read anew, never a trial that was told.
"""
import json
import os
import pty
import re
import resource
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import traceback
import tty

program, tank_program, work = sys.argv[1:4]
only = sys.argv[4:]
here = os.path.dirname(os.path.abspath(__file__))
RIG = open(here + "/../../rigs/simulated.ini").read()
ITEM = "Lead block"
TRIALS = 3
os.makedirs(work)
count = failures = 0


class Wire(threading.Thread):
    """A cable from the tank's port to a link that the rig file names."""

    def __init__(self, port, link):
        super().__init__(daemon=True)
        self.link, self.lines, self.bend, self.ends = link, 0, None, False
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
            with self.lock:
                ends = [e for e in (self.device, self.ours) if e is not None]
                try:
                    ready = select.select(ends, [], [], 0)[0]
                    if self.device in ready:
                        whole, line_end, rest = (rest + os.read(self.device, 65536)).rpartition(b"\n")
                        self.pass_on(whole + line_end)
                    if self.ours in ready:
                        os.write(self.device, os.read(self.ours, 65536))
                except OSError:
                    ready = []
            if not ready:
                time.sleep(0.001)


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

    def session(self, command, *words, hook=None, limit=None):
        """The program to its end; `hook` may answer an event itself. Its status."""
        def set_limit():
            if limit:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        self.process = subprocess.Popen(
            [program, command, *words, "--rig", self.rig, "--catalogue", self.catalogue, "--operator", "json"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1,
            preexec_fn=set_limit, restore_signals=False)
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
        self.words = self.process.stderr.read().strip()
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

    def readings(self, wanted=TRIALS, asides=4):
        """Readings in vain: all but the dry weighing, the first tare and the trials with their tares."""
        return self.seen - asides - sum(2 + t["shakes"] for t in self.trials)

    def check_end(self, status, wanted=TRIALS):
        """A session that came to its end: all trials once, the truth, and the replay gives the same."""
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
        assert self.database("PRAGMA integrity_check") == [("ok",)]

    def database(self, sql):
        with sqlite3.connect(self.catalogue + "/catalogue.sqlite") as database:
            return database.execute(sql).fetchall()

    def way_on(self, words=None):
        """The command that the program told; its own words, run as they stand."""
        found = re.search(r"`upthrust ([^`]*)`", words or self.words)
        assert found, words or self.words
        return found[1].split()

    def resume(self, hook=None, words=None):
        command = self.way_on(words)
        at = command.index("--resume")
        return self.session(command[0], *command[at:], hook=hook)


def fault(name, caused, **how):
    """Runs a function as one fault: it gets a place and returns cost and words."""
    def run(function):
        global count, failures
        if only and not any(word in name for word in only):
            return
        count += 1
        place = Place(name, **how)
        try:
            place.prepare()
            cost, said = function(place)
            print("ok %d - %-44s | %-66s | cost %s | said: %s" % (count, name, caused, cost, said))
        except Exception:
            failures += 1
            print("not ok %d - %s | %s" % (count, name, caused))
            print("\n".join("#   " + line for line in traceback.format_exc().splitlines()[-6:]))
            print("#   words: %s" % place.words)
            print("#   faults: %s" % place.faults)
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
    most = 2 + max(t["shakes"] for t in place.trials) + 1
    assert 0 <= in_vain <= most, (in_vain, most)
    return "%d readings of the trial under way" % in_vain


def first(words):
    return words.splitlines()[0] if words else ""


# ---- ends of the program: at every step, then gone on with ----

def end_at_every_step(number, name, caused):
    @fault(name, caused)
    def run(place):
        worst, said, steps = 0, "", 0
        for step in range(100):
            place.forget()
            ended = []
            def end(event):
                ended.append(step)
                place.process.send_signal(number)
                return None if step % 2 else False  # every other time while it reads
            status = place.session("measure", "--item", ITEM, "--trials", str(TRIALS),
                                   hook=at_ask(place, step, end))
            if not ended:
                break
            steps += 1
            assert status == -number, (status, place.words)
            told = [t["number"] for t in place.trials]
            assert set(told) <= set(place.stored()), (told, place.stored())
            status = place.session("measure", "--item", ITEM, "--resume")
            said = next((e["text"] for e in place.events if e["event"] == "fault"), said)
            place.check_end(status)
            assert place.readings() <= 2 + 6 + 1, place.readings()
            worst = max(worst, place.readings())
        assert steps > 10
        return "at worst %d readings, %d steps tried" % (worst, steps), said

    return run


end_at_every_step(signal.SIGKILL, "kill -9 at every step", "SIGKILL at each ask, and while it reads")
end_at_every_step(signal.SIGTERM, "SIGTERM at every step", "SIGTERM at each ask, and while it reads")


def end_once(number, name):
    @fault(name, "the signal after the second trial, while the third is read")
    def run(place):
        def end(event):
            place.process.send_signal(number)
            return None
        status = place.session("measure", "--item", ITEM, "--trials", str(TRIALS),
                               hook=at_ask(place, 0, end, nth("ask", "do", "immerse", 3)))
        assert status == -number, status
        said = first(place.words)
        assert "2 of 3 trials are stored" in said and said.startswith("note: stopped by the signal"), place.words
        place.check_end(place.resume())
        return cost_of(place), said
    return run


end_once(signal.SIGINT, "Ctrl-C")
end_once(signal.SIGHUP, "SIGHUP, the terminal was closed")


@fault("the next start tells of a killed run", "SIGKILL, then an ordinary `calibrate`")
def run(place):
    def end(event):
        place.process.kill()
        return False
    place.session("measure", "--item", ITEM, "--trials", "3", hook=at_ask(place, 0, end, nth("ask", "do", "immerse", 3)))
    place.session("calibrate", "--masses-g", "500,1000,2000", hook=lambda event: '{"id":1,"answer":"stop"}\n')
    said = first(place.words)
    assert "2 trials are stored" in said and "goes on with it" in said, said
    place.check_end(place.resume(words=said))
    return cost_of(place), said


@fault("kill -9 in a calibration", "SIGKILL at each ask, then `calibrate --resume`")
def run(place):
    steps = 0
    for step in range(30):
        ended = []
        def end(event):
            ended.append(1)
            place.process.kill()
            return False
        place.seen = 0
        place.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase",
                      hook=at_ask(place, step, end))
        if not ended:
            break
        steps += 1
        status = place.session("calibrate", "--resume")
        assert status == 0, place.words
        said = place.events[0]["text"] if place.events[0]["event"] == "fault" else place.events[1]["text"]
        assert place.seen - 8 <= 2, place.seen  # preload, tare, and a mass and its tare three times
        slope = place.events[-1]["calibration"]["slope_counts_kg"]
        run_id = place.database("SELECT subject FROM record WHERE kind = 'run' ORDER BY made_utc DESC LIMIT 1")[0][0]
        again = json.loads(place.run_program("calibrate", "--replay", run_id, "--json").stdout)
        assert again["slope_counts_kg"] == slope, (again["slope_counts_kg"], slope)
    assert steps >= 8, steps
    return "at most 2 readings of the loading under way, %d steps tried" % steps, said


# ---- the device ----

@fault("a device that goes for good in a plateau", "the wire is pulled out while a trial is read")
def run(place):
    def pull(event):
        answer = place.act(json.dumps(event))
        place.wire.pull_out()
        return answer
    status = place.session("measure", "--item", ITEM, "--trials", "3",
                           hook=at_ask(place, 0, pull, nth("ask", "do", "immerse", 2)))
    assert status == 1 and place.stored() == [1], (status, place.stored())
    said = first(place.words)
    assert "the device is gone" in said and "1 of 3 trials are stored" in said, said
    place.wire.plug_in()
    place.check_end(place.resume())
    return cost_of(place), said


@fault("a device that goes and comes back", "pulled out between trials, in again after 1.5 s", rig="")
def run(place):
    text = open(place.rig).read()
    open(place.rig, "w").write(text.replace("[port]\n", "[port]\nreturn_s = 20\n"))
    def pull(event):
        place.wire.pull_out()
        threading.Timer(1.5, place.wire.plug_in).start()
        return False
    status = place.session("measure", "--item", ITEM, "--trials", "3",
                           hook=at_ask(place, 0, pull, nth("ask", "do", "immerse", 2)))
    said = place.faults.split(" | ")
    place.check_end(status)
    assert "the device is gone" in said[0] and "the device is back" in said[1], said
    return cost_of(place), said[1]


if __name__ == "__main__":
    print("1..%d" % count)
    sys.exit(failures > 0)
