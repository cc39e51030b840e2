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
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time

sys.dont_write_bytecode = True
from place import (ITEM, TRIALS, at_ask, conclude, cost_of, fault, first, here, last, nth, program, work)

# ---- ends of the program: at every step, then gone on with ----

def end_at_steps(number, every, name, caused):
    @fault(name, caused)
    def run(place):
        worst, said, steps = 0, "", 0
        for step in range(0, 100, every):
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
        assert steps > 10 // every
        return "at worst %d readings, %d steps tried" % (worst, steps), said

    return run


end_at_steps(signal.SIGKILL, 1, "kill -9 at every step", "SIGKILL at each ask, and while it reads")
end_at_steps(signal.SIGTERM, 1, "SIGTERM at every step", "SIGTERM at each ask, and while it reads")
end_at_steps(signal.SIGINT, 1, "Ctrl-C at every step", "SIGINT at each ask, and while it reads")
end_at_steps(signal.SIGHUP, 1, "SIGHUP at every step", "SIGHUP at each ask, and while it reads")


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
    assert "2 trials are stored" in said and "continue with `" in said, said
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


@fault("kill -9 beside a device that talks unasked", "a tank 40 times as fast as life, killed in the second trial, then in the third",
       tank=("--pace", "40"), polled=False)
def run(place):
    for number in (2, 1):  # the first immersion of the second run is the third trial's
        def end(event):
            answer = place.act(json.dumps(event))
            threading.Timer(0.2, place.process.kill).start()
            return answer
        command = ("--item", ITEM, "--trials", "3") if number == 2 else ("--resume",)
        status = place.session("measure", *command, hook=at_ask(place, 0, end, nth("ask", "do", "immerse", 2)))
        assert status == -signal.SIGKILL, (status, place.words)
    assert place.stored() == [1, 2], place.stored()
    status = place.session("measure", "--resume")
    said = next(e["text"] for e in place.events if e["event"] == "fault")
    place.check_end(status)
    return "%d readings, in two trials under way" % place.readings(), said


def typed_value(event, state):
    """What a scale would show of a mass of 1 kg and 0.5 L, rightly."""
    if event["do"] == "read-temperature":
        return 20
    hangs = {"hang-mass": event.get("mass_kg"), "hang-in-air": 1.0, "immerse": 0.5, "shake": 0.5}
    ballast = 0 if event["do"] == "bare-hook" else 1.82
    return 0.18 + ballast + hangs.get(event["do"], 0)


@fault("typed readings are left and taken up", "the input ends after the first trial, and in a calibration")
def run(place):
    place.rig = place.at + "/scale.ini"
    with open(here + "/../../rigs/hanging-scale.ini") as example, open(place.rig, "w") as own:
        own.write(example.read().replace("id = hanging-scale", "id = scale-of-the-test"))
    def answer(event):
        if event["event"] != "ask":
            return None
        word = {"value": typed_value(event, None)} if "wants" in event else {"answer": "done"}
        return json.dumps({"id": event["id"], **word}) + "\n"
    def until(wanted):
        def hook(event):
            if wanted(event):
                place.process.stdin.close()
                return False
            return False if place.process.stdin.closed else answer(event)
        return hook
    masses = ("--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase")
    status = place.session("calibrate", *masses, hook=until(nth("ask", "mass_kg", 2, 2)))
    assert status == 1 and "2 of 3 loadings are kept" in place.words, (status, place.words)
    assert place.session("calibrate", "--resume", hook=answer) == 0, place.words
    asked = [e["mass_kg"] for e in place.events if e.get("do") == "hang-mass"]
    assert asked == [2], asked
    place.forget()
    status = place.session("measure", "--item", ITEM, "--trials", "3", hook=until(nth("ask", "do", "immerse", 2)))
    said = first(place.words)
    assert status == 1 and "1 of 3 trials are stored" in said and place.stored() == [1], (status, said, place.stored())
    assert place.session("measure", "--resume", hook=answer) in (0, 3), place.words
    assert place.stored() == [1, 2, 3], place.stored()
    again = place.run_program("measure", "--replay", place.events[-1]["results"][0]["run_id"])
    assert "the same as run " in again.stdout, again
    return "nothing but a tare", said


# ---- the device ----

def wait_for_return(place, seconds=20):
    text = open(place.rig).read()
    open(place.rig, "w").write(text.replace("[port]\n", "[port]\nreturn_s = %g\n" % seconds))


def with_event(place, action, wanted=None, answers=True):
    """Does `action` when the ask that is meant was done, or in its place; the second immersion by itself."""
    wanted = wanted or nth("ask", "do", "immerse", 2)
    def what(event):
        if answers:
            answer = place.act(json.dumps(event))
            action()
            return answer
        action()
        return False
    return at_ask(place, 0, what, wanted)


def measure(place, hook=None):
    return place.session("measure", "--item", ITEM, "--trials", str(TRIALS), hook=hook)


@fault("a device that goes for good in a plateau", "the wire is pulled out while a trial is read")
def run(place):
    status = measure(place, with_event(place, place.wire.pull_out, nth("ask", "do", "immerse", 2)))
    assert status == 1 and place.stored() == [1], (status, place.stored())
    said = first(place.words)
    assert "the device is gone" in said and "1 of 3 trials are stored" in said, said
    place.wire.plug_in()
    place.check_end(place.resume())
    return cost_of(place), said


def goes_and_returns(name, answers):
    @fault(name, "pulled out, in again after 1.5 s")
    def run(place):
        wait_for_return(place)
        def pull():
            place.wire.pull_out()
            threading.Timer(1.5, place.wire.plug_in).start()
        status = measure(place, with_event(place, pull, answers=answers))
        said = place.faults.split(" | ")
        place.check_end(status)
        assert "the device is gone" in said[0] and "the device is back" in said[1], said
        return cost_of(place), said[1]
    return run


goes_and_returns("the device goes in a plateau", True)
goes_and_returns("the device goes between trials", False)


@fault("the device goes in a calibration", "pulled out while a mass is read, in again after 1.5 s")
def run(place):
    wait_for_return(place)
    def pull():
        place.wire.pull_out()
        threading.Timer(1.5, place.wire.plug_in).start()
    place.faults = ""
    place.seen = 0
    status = place.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase",
                           hook=with_event(place, pull, nth("ask", "mass_kg", 1, 1)))
    assert status == 0, place.words
    assert 0 < place.seen - 8 <= 2, place.seen
    return "%d readings of the loading under way" % (place.seen - 8), place.faults.split(" | ")[1]


@fault("back under another name", "gone for good; the run goes on with --port at another pseudo-terminal")
def run(place):
    measure(place, with_event(place, place.wire.pull_out))
    said = first(place.words)
    place.wire.link = place.link + "-other"
    place.wire.plug_in()
    command = place.way_on()
    status = place.session("measure", "--port", place.wire.link, *command[command.index("--resume"):])
    place.check_end(status)
    return cost_of(place), said


@fault("back with a device of other lines on it", "after 1.5 s lines of another layout, after 8 s the right ones",
       tank=("--pace", "40"), polled=False)
def run(place):
    wait_for_return(place)
    def pull():
        place.wire.pull_out()
        place.wire.bend = lambda line: b"ST,GS,+  12.34kg\r\n"
        threading.Timer(1.5, place.wire.plug_in).start()
        threading.Timer(9.5, lambda: setattr(place.wire, "bend", None)).start()
    status = measure(place, with_event(place, pull))
    said = [text for text in place.faults.split(" | ") if "no line fits" in text]
    assert said, place.faults
    place.check_end(status)
    return cost_of(place), said[0]


def scaled(factor):
    def bend(line):
        words = line.split(b",")
        words[1] = b"%d" % round(int(words[1]) * factor)
        return b",".join(words)
    return bend


@fault("back with another cell on it", "after 1.5 s the same lines of a cell that counts half as much again")
def run(place):
    wait_for_return(place)
    def pull():
        place.wire.pull_out()
        place.wire.bend = scaled(1.5)
        threading.Timer(1.5, place.wire.plug_in).start()
    status = measure(place, with_event(place, pull))
    said = [text for text in place.faults.split(" | ") if "same cell" in text]
    assert status == 1 and said and place.stored() == [1], (status, said, place.stored())
    assert "1 of 3 trials are stored" in place.words, place.words
    place.wire.bend = None
    place.check_end(place.resume())
    return "%d readings, most of the other cell; none of them counted" % place.readings(), said[0]


# ---- the stream ----

@fault("stalled 150 s, then a burst", "a tank that talks unasked, 20 times as fast, is held for 7.5 s", tank=("--pace", "20"),
       polled=False)
def run(place):
    wait_for_return(place, 60)
    def stall():
        place.tank.send_signal(signal.SIGSTOP)
        threading.Timer(7.5, lambda: place.tank.send_signal(signal.SIGCONT)).start()
    status = measure(place, with_event(place, stall))
    said = place.faults.split(" | ")
    assert "nothing has come over the wire for 5 s" in said[0] and "is back" in said[1], said
    place.check_end(status)
    return cost_of(place), said[0]


class Bent:
    """Bends so many lines, from 10 s after the second immersion on; `change` gets time, counts, temperature."""

    def __init__(self, place, change, lines=10 ** 9):
        self.place, self.change, self.left = place, change, lines
        self.at = -100

    def start(self):
        self.place.wire.bend = self

    def __call__(self, line):
        self.at += 1
        if self.at <= 0 or self.at > self.left:
            return line
        time_ms, counts, temp = line.decode().strip().split(",")
        return ("%s,%s,%s\r\n" % self.change(self, time_ms, int(counts), temp)).encode()


def bent(name, caused, change, expected, lines=10 ** 9, spare=0):
    """A fault of the stream that the session itself gets over."""
    @fault(name, caused)
    def run(place):
        bend = Bent(place, change, lines)
        status = measure(place, with_event(place, bend.start))
        place.check_end(status)
        said = [text for text in place.faults.split(" | ") if text and expected in text]
        assert said or not expected, place.faults
        return cost_of(place, place.readings() - spare), said[0] if said else "nothing: no reading was spoilt"
    return run


def faster(bend, time_ms, counts, temp):
    time_ms = int(time_ms)
    if bend.at == 1:
        bend.from_ms = time_ms
    fast_ms = min(time_ms - bend.from_ms, 40000)  # from then on as before
    return time_ms - fast_ms + fast_ms // 10, counts, temp


def frozen(bend, time_ms, counts, temp):
    bend.held = counts if bend.at == 1 else bend.held
    return time_ms, bend.held, temp


def slipping(bend, time_ms, counts, temp):
    word = counts & 0xFFFFFF
    slip = 0x800000 | word >> 1
    return time_ms, slip - 0x1000000 if bend.at % 10 == 0 else counts, temp


def shifted(ms):
    return lambda bend, time_ms, counts, temp: (int(time_ms) + ms, counts, temp)


bent("the rate jumps tenfold", "the device's clock runs at a tenth for 400 lines of a trial", faster, "check the converter")
bent("a stream that stands still for 30 s", "300 equal words in a trial", frozen, "", 300)
bent("bit slips in every tenth sample", "0x800000 | word >> 1 from the second trial on", slipping, "")
bent("overload", "9 kg more for 60 lines of a trial",
     lambda bend, time_ms, counts, temp: (time_ms, counts + 9 * 600000, temp), "take the load off at once", 60)
bent("the temperature is lost", "the thermometer says -127 from the second trial on",
     lambda bend, time_ms, counts, temp: (time_ms, counts, "-127.00"), "no temperature any more", spare=1)
bent("the device's clock is set forward by an hour", "3600 s more in a trial and after it", shifted(3600000), "no line came for 3600")
bent("the device's clock begins anew", "an hour less in a trial and after it, as after a reset",
     shifted(-3600000), "")


@fault("the device itself says overload", "status OL instead of ST in a trial until somebody is told")
def run(place):
    text = open(place.rig).read()
    open(place.rig, "w").write(text.replace("[sensor]", "status_field = 4\nstable_words = ST\nover_words = OL\n[sensor]"))
    status_word = [b"ST"]
    place.wire.bend = lambda line: line.rstrip() + b"," + status_word[0] + b"\r\n"
    assert place.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase") == 0, place.words
    place.forget()
    inner = with_event(place, lambda: status_word.__setitem__(0, b"OL"))
    def hook(event):
        if event["event"] == "fault":
            status_word[0] = b"ST"
        return inner(event)
    place.check_end(measure(place, hook))
    said = place.faults.split(" | ")[0]
    assert "loaded beyond its range" in said, place.faults
    return cost_of(place), said


@fault("a stream that stands still for good", "one word from the second trial on; the run goes on with a sound one")
def run(place):
    bend = Bent(place, frozen)
    status = measure(place, with_event(place, bend.start))
    said = [text for text in place.faults.split(" | ") if "gave up" in text]
    assert status == 1 and said and place.stored() == [1], (status, place.faults)
    place.wire.bend = None
    status = place.resume()
    place.check_end(status)
    return cost_of(place), said[0]


# ---- the operator ----

@fault("the operator walks away", "no answer for 4.5 s where the rig file says absent_s = 3", rig="absent_s = 3\n")
def run(place):
    notes = []
    state = {"left": False}
    def hook(event):
        if event["event"] == "note":
            notes.append(event["text"])
        if event["event"] == "ask" and event["do"] == "shake" and len(place.trials) == 1 and not state["left"]:
            state["left"] = True
            return False  # the ask after that one is answered: the operator is back
        return None
    status = measure(place, hook)
    place.check_end(status)
    said = place.faults.split(" | ")[0]
    assert "no answer for" in said and any("still waiting" in n for n in notes), (said, notes)
    return cost_of(place), said


# ---- the catalogue ----

@fault("the catalogue is locked by another program", "an exclusive lock held from the second trial on for 13 s")
def run(place):
    def lock():
        other = sqlite3.connect(place.catalogue + "/catalogue.sqlite", isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        threading.Timer(13, lambda: (other.execute("ROLLBACK"), other.close())).start()
    status = measure(place, with_event(place, lock))
    said = first(place.words)
    assert status == 1 and "1 of 3 trials are stored" in said and place.stored() == [1], (said, place.stored())
    time.sleep(3)
    place.check_end(place.resume())
    # The trial that could not be stored is in the run's files: it comes back with them.
    assert place.readings() <= 2, place.readings()
    return "%d readings; the trial that could not be stored came back" % place.readings(), said


@fault("the disk is full", "a small disk of its own, filled while the second trial is read")
def run(place):
    disk = place.at + "/disk"
    os.mkdir(disk)
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "none", disk], capture_output=True).returncode:
        return "nothing", "# SKIP no right to mount a small disk"
    try:
        shutil.move(place.catalogue, disk)
        place.catalogue = disk + "/catalogue"
        # On another disk it is another place, where nothing vouches for the cell yet.
        assert place.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase") == 0, place.words
        place.forget()
        def fill():
            with open(disk + "/filling", "wb", buffering=0) as filling:
                try:
                    while filling.write(b"\0" * 4096) == 4096:
                        pass
                except OSError:
                    pass
        status = measure(place, with_event(place, fill))
        said = first(place.words)
        assert status == 1 and ("space" in said or "full" in said) and place.stored() == [1], (status, said)
        os.unlink(disk + "/filling")
        place.check_end(place.resume())
        return cost_of(place), said
    finally:
        subprocess.run(["umount", "-l", disk])


# ---- what cannot be gone on with ----

@fault("what cannot be gone on with is refused", "a finished run, another rig file, item, calibration, a run at work")
def run(place):
    said = []
    def refused(words, *more):
        status = place.session("measure", "--resume", *more)
        assert status in (1, 2) and words in last(place.words), (words, status, place.words)
        said.append(last(place.words))
    refused("there is no run of measure")
    assert measure(place) == 0
    refused("is complete")
    refused("leave out one", "--trials", "4")
    refused("there is no run 01234567", "01234567")
    refused("one run at a time", "0123", "4567")
    measure(place, at_ask(place, 6, lambda event: (place.process.kill(), False)[1]))
    old = place.database("SELECT subject FROM record WHERE kind = 'run' ORDER BY made_utc DESC LIMIT 1")[0][0]
    text = open(place.rig).read()
    open(place.rig, "w").write(text.replace("depth_m = 0.4", "depth_m = 0.5"))
    refused('"depth_m = 0.5" instead of "depth_m = 0.4"')
    open(place.rig, "w").write("; a comment\n" + text)
    place.run_program("item", "add", "--name", "Another", "--kind", "lead")
    refused("no run of measure on the bench simulated-tank with this item", "--item", "Another")
    place.run_program("item", "edit", ITEM, "--tolerance-g", "10")
    refused("has been edited")
    place.run_program("item", "edit", ITEM, "--tolerance-g", "50")
    def second(event):
        other = subprocess.run([program, "measure", "--resume", "--rig", place.rig, "--catalogue", place.catalogue,
                                "--operator", "json"], capture_output=True, text=True, stdin=subprocess.DEVNULL)
        said.append(other.stderr)
        assert "still running" in other.stderr, other.stderr
        place.process.kill()
        return False
    place.session("measure", "--resume", hook=at_ask(place, 1, second))
    refused("was continued already", old)
    place.session("calibrate", "--masses-g", "500,1000,2000", "--rounds", "1", "--no-staircase")
    refused("was calibrated again")
    return "nothing", "%d clear lines, such as %s" % (len(said), said[1].strip())


if __name__ == "__main__":
    conclude()
