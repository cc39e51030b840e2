# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives upthrust-tank through its port and its standard input; prints TAP."""
import json
import os
import re
import select
import signal
import subprocess
import sys
import tempfile
import time

PROGRAM = sys.argv[1]
PATIENCE_S = 10
number = failed = 0


def check(good, name):
    global number, failed
    number += 1
    failed += not good
    print(f"{'ok' if good else 'not ok'} {number} - {name}", flush=True)


class Tank:
    started = []

    def __init__(self, *options):
        self.process = subprocess.Popen([PROGRAM, *options], stdin=subprocess.PIPE,
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        self.started.append(self.process)
        self.first = self.answer()
        self.port = os.open(self.first["port"], os.O_RDWR | os.O_NOCTTY)

    def line(self):
        if not select.select([self.process.stdout], [], [], PATIENCE_S)[0]:
            raise TimeoutError("no answer")
        return self.process.stdout.readline()

    def answer(self):
        return json.loads(self.line())

    def say(self, text):
        self.process.stdin.write((text + "\n").encode())
        self.process.stdin.flush()

    def ask(self, **members):
        self.say(json.dumps(members))
        return self.answer()

    def samples(self, count, wait_s=PATIENCE_S):
        os.write(self.port, f"more {count}\n".encode())
        return self.read(count, wait_s)

    def read(self, count, wait_s):
        got, end = b"", time.monotonic() + wait_s
        while got.count(b"\n") < count and time.monotonic() < end:
            if select.select([self.port], [], [], 0.05)[0]:
                got += os.read(self.port, 65536)
        return [line.split(",") for line in got.decode().splitlines()]

    def end(self):
        os.close(self.port)
        self.process.stdin.close()
        status = self.process.wait(PATIENCE_S)
        return status, self.process.stderr.read().decode()


def mean(lines):
    middle = sorted(int(line[1]) for line in lines)
    return middle[len(middle) // 2]


def outcome(*options):
    run = subprocess.run([PROGRAM, *options], stdin=subprocess.DEVNULL, capture_output=True,
                         timeout=PATIENCE_S)
    return run.returncode, run.stdout.decode(), run.stderr.decode()


def test_options():
    status, out, _ = outcome("--gear")
    gear = json.loads(out)
    keys = {"name", "kind", "maker", "model", "size", "pieces", "compressible", "trapped_g"}
    check(status == 0 and len(gear) >= 13 and all(keys <= set(item) for item in gear),
          "the gear is valid JSON with all its members")
    check(all(outcome(option)[0::2] == (0, "") for option in ("--help", "--version")),
          "help and version end with 0")
    for bad in (["--nonsense"], ["--seed", "x"], ["--rate-hz", "20"], ["--rate-hz", "1.5"], ["--scale-step-g", "0"], ["--pace", "-1"], ["--link"],
                ["word"]):
        status, out, errors = outcome(*bad)
        check(status == 2 and out == "" and errors.count("\n") == 1,
              f"{' '.join(bad)} ends with 2 and one line")


def test_scale():
    tank = Tank("--seed", "7", "--rate-hz", "2", "--scale-step-g", "10")
    empty = tank.samples(3)
    tank.ask(event="ask", id=1, do="hang-mass", mass_kg=1, time_s=0)
    loaded = tank.samples(60)
    check(all(len(line) == 1 and line[0].endswith(" kg") and len(line[0].split()[0].split(".")[1]) == 2 for line in empty + loaded),
          "a plain scale prints kilograms in steps of 10 g")
    risen = float(loaded[-1][0].split()[0]) - float(empty[0][0].split()[0])
    check(0.9 < risen < 1.1 and risen != 1, "by its own idea of a kilogram")
    tank.end()


def test_samples_and_acts():
    tank = Tank("--seed", "7")
    check(tank.first["event"] == "tank" and tank.first["seed"] == 7, "the first line names port and seed")
    check(tank.read(1, 0.3) == [], "no sample comes unasked")
    empty = tank.samples(25)
    times = [int(line[0]) for line in empty]
    check(len(empty) == 25 and all(len(line) == 3 for line in empty), "as many lines as granted")
    check(times == sorted(times) and 1500 < times[-1] < 3500, "device time goes on by the samples")
    check(tank.ask(event="ask", id=3, do="hang-mass", mass_kg=1, time_s=times[-1] / 1e3)
          == {"id": 3, "answer": "done"}, "an ask is done")
    loaded = tank.samples(200)[150:]
    check(abs(mean(loaded) - mean(empty) - 6e5) < 6e4, "a kilogram moves the reading by its slope")
    temperature = tank.ask(event="ask", id=4, do="read-temperature")
    check(temperature["id"] == 4 and abs(temperature["value"] - float(loaded[0][2])) < 0.006,
          "the thermometer shows what the wire shows")
    check(tank.ask(event="ask", id=5, do="confirm")["answer"] == "done", "confirm is done")
    check(tank.ask(event="ask", id=6, do="hang-upside-down")["answer"] == "skip",
          "an unknown act is skipped")
    truth = tank.ask(truth="Heron fin", water="sea", density_kg_m3=1026, u_density_kg_m3=0, temp_c=15)
    check(-400 < truth["truth_g"] < -250, "the truth in another water")
    check(tank.ask(truth="No such fin", water="tank")["truth_g"] is None, "no truth of unknown gear")
    tank.say('{"event":"plateau"}')
    tank.say("{ no json")
    os.write(tank.port, b"less 10\nmore 99999\n")
    check(len(tank.samples(3)) == 3, "bad input is passed over")
    status, errors = tank.end()
    check(status == 0, "the end of the input ends it with 0")
    check(all(part in errors for part in ("no json", "less 10", "more 99999")),
          "each bad input is told on standard error")


def test_garbage():
    tank = Tank()
    tank.process.stdin.write(b"\x1b[31mrubbish\xff\n\n{\n[1]\nat noon shake\nshake\n"
                             b'{"event":"ask","do":"shake"}\n')
    tank.process.stdin.flush()
    os.write(tank.port, b"\x00\x1b]0;x\x07\nmore\nmore 0\nmore 1.5\nmore nan\nMORE 1\n")
    check(len(tank.samples(5)) == 5 and tank.read(1, 0.3) == [],
          "after rubbish `more 5` gives exactly five lines")
    check(tank.ask(event="ask", id=1, do="shake")["answer"] == "stop",
          "an act that cannot be done now is answered with stop")
    check(tank.ask(event="ask", id=2, do="add-ballast")["answer"] == "done", "and it goes on")
    status, errors = tank.end()
    check(status == 0 and errors.count("\n") == 12, "a line on standard error for each")
    check(all(" " <= byte or byte == "\n" for byte in errors), "without control characters")


def test_unread():
    """Talking unasked, it loses what nobody reads and stays at hand; lines stay whole."""
    tank = Tank("--pace", "1000")
    time.sleep(1.5)  # fills a pseudo-terminal several times over
    tank.say("add-ballast")
    check(b"add-ballast" in tank.line(), "a port that nobody reads does not stop it")
    lines = tank.read(3000, 20)[:-1]
    times = [int(line[0]) for line in lines]
    check(all(len(line) == 3 for line in lines) and times == sorted(times) and len(lines) > 2000,
          "its lines are whole and in order")
    check(max(b - a for a, b in zip(times, times[1:])) > 10000, "what found no room is lost")
    time.sleep(1)
    tank.process.stdin.close()
    check(tank.process.wait(PATIENCE_S) == 0, "the end of the input ends it all the same")
    os.close(tank.port)


def test_typed():
    tank = Tank()
    tank.samples(1)
    tank.say("at 2.5 immerse Heron fin")
    check(b"immerse" in tank.line(), "a typed act is answered")
    tank.say("truth Heron fin")
    check(b"-" in tank.line(), "a typed truth is answered")
    tank.say("thermometer")
    check(re.fullmatch(rb"[0-9]+\.[0-9]{2} C", tank.line().strip()), "so is a thermometer read")
    tank.say("quit")
    check(tank.process.wait(PATIENCE_S) == 0, "quit ends it with 0")
    os.close(tank.port)


def test_same_seed():
    streams = []
    for seed in ("5", "5", "6"):
        tank = Tank("--seed", seed)
        tank.ask(event="ask", id=1, do="immerse", item="Heron fin", time_s=3)
        streams.append(tank.samples(30) + tank.samples(70))
        tank.end()
    check(streams[0] == streams[1] != streams[2], "a seed gives the same session again")


def test_link():
    with tempfile.TemporaryDirectory() as directory:
        link = os.path.join(directory, "tank")
        for number_of in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            tank = Tank("--link", link)
            check(os.path.realpath(link) == tank.first["port"], "the link leads to the port")
            tank.process.send_signal(number_of)
            check(tank.process.wait(PATIENCE_S) == -number_of,
                  f"{number_of.name} ends it as signals do")
            check(not os.path.lexists(link), "and the link is gone")
            os.close(tank.port)
        tank = Tank("--link", link)
        status, out, errors = outcome("--link", link)
        check(status == 1 and out == "" and errors.count("\n") == 1 and os.path.lexists(link),
              "a name that is taken is left alone")
        check(tank.end()[0] == 0 and not os.path.lexists(link), "the end of the input takes the link")


for test in (test_options, test_scale, test_samples_and_acts, test_garbage, test_typed, test_unread, test_same_seed, test_link):
    try:
        test()
    except Exception as error:  # a test that breaks counts as one failure
        check(False, f"{test.__name__}: {error!r}")
for process in Tank.started:  # of tests that broke
    if process.poll() is None:
        process.kill()
        process.wait()
print(f"1..{number}")
sys.exit(failed > 0)
