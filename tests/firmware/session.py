# SPDX-License-Identifier: GPL-3.0-or-later
"""upthrust at a board in the simulator, through its serial port, under the simulated tank.

The simulated tank answers what the bench asks, as it does elsewhere; while it does, the board's
time stands still.
"""
import json
import os
import re
import select
import subprocess

PATIENCE_S = 60
TRUE_LINE = """[line]
layout = fields
separator = comma
columns = 4
sequence_field = 1
time_field = 2
time_unit = ms
load_field = 3
temp_field = 4
load_unit = counts
word_bits = 24
checksum = crc16
checksum_after = star
notes = hash
"""


class Child:
    """A program that is spoken with in lines."""

    def __init__(self, *command):
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.rest = b""

    def line(self):
        while b"\n" not in self.rest:
            if not select.select([self.process.stdout], [], [], PATIENCE_S)[0]:
                raise TimeoutError("no answer from " + self.process.args[0])
            got = os.read(self.process.stdout.fileno(), 65536)
            if not got:
                return None
            self.rest += got
        line, self.rest = self.rest.split(b"\n", 1)
        return line.decode()

    def say(self, text):
        self.process.stdin.write((text + "\n").encode())
        self.process.stdin.flush()

    def end(self):
        self.process.stdin.close()
        return self.process.wait(PATIENCE_S)


class Bench:
    def __init__(self, out, image, folder, seed=1):
        self.upthrust = f"{out}/upthrust"
        self.folder = folder
        self.tank = Child(f"{out}/upthrust-tank", "--seed", str(seed))
        tank_port = json.loads(self.tank.line())["port"]
        self.board = Child(f"{out}/tests/firmware/simulated_board", image, tank_port)
        self.port = json.loads(self.board.line())["port"]
        self.rig = f"{folder}/rig.ini"
        self.catalogue = f"{folder}/catalogue"
        self.log = []
        simulated = open("rigs/simulated.ini", encoding="utf-8").read()
        simulated = re.sub(r"\[line\].*?(?=\[sensor\])", TRUE_LINE + "\n", simulated, flags=re.S)
        simulated = simulated.replace("path = /tmp/tank", f"path = {self.port}\nreturn_s = 60")
        with open(self.rig, "w", encoding="utf-8") as file:
            file.write(simulated)

    def tell(self, word):
        self.board.say(word)
        answer = self.board.line()
        if answer != word:
            raise RuntimeError(f"{word}: {answer}")

    def run(self, *arguments):
        """One that needs no operator: status, output, errors."""
        done = subprocess.run([self.upthrust, *arguments], stdin=subprocess.DEVNULL,
                              capture_output=True, timeout=600,
                              env={**os.environ, "UPTHRUST_CATALOGUE": self.catalogue})
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    def answer(self, event):
        self.tell("hold")
        event["time_s"] = 0  # at once: the tank's clock is not the board's
        self.tank.say(json.dumps(event))
        answer = self.tank.line()
        self.tell("go")
        return answer

    def session(self, *arguments, meanwhile=None):
        """One that asks: its last event. meanwhile(event) sees each and may do harm."""
        child = Child(self.upthrust, *arguments, "--rig", self.rig, "--operator", "json",
                      "--catalogue", self.catalogue)
        last = None
        while True:
            line = child.line()
            if line is None:
                break
            event = json.loads(line)
            self.log.append(event)
            if meanwhile is not None:
                meanwhile(event)
            if event["event"] == "ask":
                child.say(self.answer(event))
            elif event["event"] == "result":
                last = event
        return child.end(), last

    def truth_g(self, item, result):
        self.tank.say(json.dumps({
            "truth": item, "water": result["water"], "rectangular": False,
            "density_kg_m3": result["water_density_kg_m3"],
            "u_density_kg_m3": result["u_water_density_kg_m3"],
            "temp_c": result["water_temp_c"]}))
        return json.loads(self.tank.line())["truth_g"]

    def measure(self, item, kind, *options, meanwhile=None):
        """The result in the tank's own water, and the truth."""
        self.run("item", "add", "--name", item, "--kind", kind)
        status, last = self.session("measure", "--item", item, *options, meanwhile=meanwhile)
        if last is None:
            return status, None, None
        result = next(r for r in last["results"] if r["water"] == "tank")
        return status, result, self.truth_g(item, result)

    def end(self):
        for child in (self.board, self.tank):
            child.end()


def holds(result, truth_g):
    error_g = result["buoyancy_g"] - truth_g
    return -result["expanded_u_g"] <= error_g <= result["expanded_u_g"] + result["stuck_air_g"]
