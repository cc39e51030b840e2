# SPDX-License-Identifier: GPL-3.0-or-later
"""The program at the board in the simulator; prints TAP, and what it said to each fault.

  session_check.py build/release IMAGE PART...
"""
import os
import re
import subprocess
import sys
import tempfile
import time

from session import Bench, holds

OUT, IMAGE = sys.argv[1:3]
ITEM = "Heron fin"
number = failed = 0


def check(good, name, why=""):
    global number, failed
    number += 1
    failed += not good
    print(f"{'ok' if good else 'not ok'} {number} - {name}" + ("" if good else f": {why}"), flush=True)


def recognises(bench, folder):
    """The start line comes while somebody listens, as on a board that opening its port resets."""
    rig = f"{folder}/found.ini"
    listening = subprocess.Popen([bench.upthrust, "ports", "--listen", "--port", bench.port, "--seconds",
                                  "3", "--write", rig], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    # The simulator is faster than any board: it is reset until the listening has ended.
    while listening.poll() is None:
        bench.tell("reset")
        time.sleep(0.05)
    said = listening.communicate(timeout=60)[0].decode()
    check("upthrust-board version=1 controller=atmega328p reset=reset" in said,
          "ports --listen knows the board by its start line", said)
    status, said, errors = bench.run("listen", "--rig", rig, "--seconds", "2")
    # The first and the last line may be cut: where listening begins and ends is chance.
    whole = re.search(r"lines read, (0 refused|([12]) refused[\s\S]*\2 refused: cut at the stream's begin or end)", said)
    check(status == 0 and whole is not None,
          "the rig file that it wrote reads each line", said + errors)
    check("the device says: board upthrust-board version=1" in said,
          "listen asks the board who it is", said)


def checks_the_rig(bench, _):
    status, said, errors = bench.run("rig-check", "--rig", bench.rig, "--no-walk", "--seconds", "3")
    said = re.sub(r"\s+", " ", said)
    check(status == 0 and "good the device says: board upthrust-board version=1" in said and
          "good the device says: test converter=ok" in said, "rig-check shows version and self-test",
          said + errors)
    bench.tell("unplug thermometer")
    bench.tell("run 3")
    status, said, errors = bench.run("rig-check", "--rig", bench.rig, "--no-walk", "--seconds", "3")
    said = re.sub(r"\s+", " ", said)
    check(status == 3 and re.search("SHORT the device says: test .*thermometer=absent", said) is not None,
          "a thermometer unplugged: rig-check finds the rig short", said + errors)
    bench.tell("plug thermometer")


def weighs(bench, _):
    began = time.monotonic()
    status, _ = bench.session("calibrate", "--masses-g", "500,1000,2000,4000")
    check(status == 0, "calibrates through the board's serial port", status)
    status, result, truth_g = bench.measure(ITEM, "fin")
    good = result is not None and holds(result, truth_g)
    figures = result and (f"{result['buoyancy_g']:+.2f} g +-{result['expanded_u_g']:.2f}, truth "
                          f"{truth_g:+.2f} g, {result['class']}")
    check(status == 0 and good, f"measures: {figures}", status)
    check(not any(e["event"] == "fault" for e in bench.log), "without a fault",
          [e for e in bench.log if e["event"] == "fault"])
    print(f"# calibrated and measured in {time.monotonic() - began:.0f} s")


class Harm:
    """One fault after the other, each at another reading of the session."""

    def __init__(self, bench):
        self.bench, self.readings, self.said = bench, 0, []
        self.plan = {3: "unplug thermometer", 5: "reset", 8: "stop converter", 10: "noise on"}

    def __call__(self, event):
        text = event.get("text", "")
        if event["event"] in ("fault", "note"):
            self.said.append(text)
        if "thermometer absent" in text:
            self.bench.tell("plug thermometer")
        if "converter silent" in text and event["event"] == "fault":
            self.bench.tell("start converter")
        if event["event"] == "plateau":
            self.readings += 1
            if self.readings in self.plan:
                self.bench.tell(self.plan[self.readings])


def bears(bench, _):
    status, _ = bench.session("calibrate", "--masses-g", "500,1000,2000,4000")
    harm = Harm(bench)
    status, result, truth_g = bench.measure(ITEM, "fin", meanwhile=harm)
    said = "\n".join(harm.said)
    for caused, expected in (
            ("a thermometer unplugged", "the device says: thermometer absent"),
            ("the thermometer back", "the device says: thermometer ok"),
            ("a reset in the middle of a session", "the device restarted: repeat this step. It says: start upthrust-board"),
            ("a converter that stops", "no reading for 5 s; the device says: converter silent"),
            ("the converter goes on", "the device is back after")):
        line = next((l for l in harm.said if expected in l), "")
        check(line != "", f"{caused}: the program says \"{line}\"", said)
    good = result is not None and holds(result, truth_g)
    check(status == 0 and good, "after all of it, and noise on the inputs, the truth lies within the interval: " +
          (f"{result['buoyancy_g']:+.2f} g +-{result['expanded_u_g']:.2f}, truth {truth_g:+.2f} g" if result else "none"), said)


def main():
    parts = {"recognises": recognises, "checks-the-rig": checks_the_rig, "weighs": weighs, "bears": bears}
    for name in sys.argv[3:]:
        with tempfile.TemporaryDirectory() as folder:
            bench = Bench(OUT, IMAGE, folder)
            try:
                parts[name](bench, folder)
            finally:
                bench.end()
    sys.exit(failed > 0)


main()
