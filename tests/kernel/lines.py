#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Simulated GPIO lines in the small machine: feet on a pedal, lamps read back, a relay that must be off."""
import json
import os
import re
import time

from kernel import Device, Lines, Machine, check, rig, run_all, work, work_s


class Bank:
    """Simulated GPIO lines of the small machine, by name; a chip of its own each time."""

    made = 0

    def __init__(self, machine, names):
        self.machine = machine
        self.names = names
        Bank.made += 1
        self.label = "bank%d" % Bank.made
        config = "/sys/kernel/config/gpio-sim/" + self.label
        lines = "".join("mkdir bank/line%d; echo %s >bank/line%d/name; " % (i, name, i)
                        for i, name in enumerate(names))
        status, words = machine.run(
            "grep -q configfs /proc/mounts || mount -t configfs none /sys/kernel/config; "
            "mkdir -p %s/bank && cd %s && echo %d >bank/num_lines && echo %s >bank/label && "
            "{ %secho 1 >live; cat dev_name bank/chip_name; }; cd /" %
            (config, config, len(names), self.label, lines))
        if status != 0 or len(words.split()) != 2:
            raise RuntimeError(words)
        device, self.chip = words.split()
        self.path = "/sys/devices/platform/%s/%s" % (device, self.chip)

    def of(self, name, what):
        return "%s/sim_gpio%d/%s" % (self.path, self.names.index(name), what)

    def pull(self, name, high):
        self.machine.run("echo pull-%s >%s" % ("up" if high else "down", self.of(name, "pull")))

    def value(self, name):
        return int(self.machine.run("cat " + self.of(name, "value"))[1])

    def press(self, name, *times_s, active_low=True):
        """Down, up, down, ... each held so long; then up."""
        words = []
        for i, time_s in enumerate(times_s):
            high = (i % 2 == 1) == active_low
            words.append("echo pull-%s >%s; usleep %d" % ("up" if high else "down",
                                                         self.of(name, "pull"), time_s * 1e6))
        words.append("echo pull-%s >%s" % ("up" if active_low else "down",
                                           self.of(name, "pull")))
        self.machine.run("; ".join(words))

    def wait(self, name, value, patience_s=5):
        end = time.monotonic() + patience_s
        while self.value(name) != value:
            if time.monotonic() > end:
                return False
        return True


READ_S = 0.45  # a press that comes sooner is not taken for an answer
NAMES = ["PEDAL", "FLOAT", "SHAKER", "BUZZER", "GO", "SETTLE", "FAULT", "ALL", "SPARE"]


def lines_rig(bank, changes=()):
    text = {
        "pedal": {"line": "%s PEDAL" % bank.chip, "bias": "pull-up", "active": "low",
                  "stuck_s": "4"},
        "float": {"line": "%s FLOAT" % bank.label, "bias": "none", "active": "high",
                  "debounce_ms": "100"},
        "shaker": {"line": "/dev/%s 2" % bank.chip, "active": "high", "limit_s": "2"},
        "buzzer": {"line": "%s BUZZER" % bank.chip, "active": "low"},
        "lamps": {"active": "high", "your_turn": "%s GO" % bank.chip, "settling":
                  "%s SETTLE" % bank.chip, "fault": "%s FAULT" % bank.chip,
                  "all": "%s ALL" % bank.chip, "result_s": "3"},
    }
    for section, key, value in changes:
        text[section][key] = value
        if value is None:
            del text[section][key]
    return (rig("path = /dev/ttyUSB0\nbaud = 115200") + "shakes_max = 1\n"
            "[tank]\ntemp_c = 20\n" +
            "".join("[%s]\n%s" % (name, "".join("%s = %s\n" % pair for pair in keys.items()))
                    for name, keys in text.items()))


class Pedalled:
    """A session whose words come over the 16550; feet answer."""

    def __init__(self, machine, device, bank, command):
        self.machine, self.device, self.bank = machine, device, bank
        self.words = Lines(machine.uart)
        self.words.forget()
        self.heard = []
        machine.run("upthrust %s --rig /tmp/lines.ini --catalogue /tmp/catalogue "
                    "--operator pedal </dev/null >/tmp/out 2>&7 & session=$!" % command)
        device.talks = True

    def until(self, *wanted, patience_s=20):
        while True:
            try:
                line = self.words.next(patience_s)
            except TimeoutError as problem:
                raise TimeoutError("\n".join(self.heard[-12:] + [str(problem)])) from problem
            self.heard.append(line)
            if any(word in line for word in wanted):
                return line

    def ask(self):
        """The next question; it has been shown to its end."""
        line = self.until(">> ")
        self.until("   pedal: short is done", "   stopping here")
        time.sleep(READ_S)
        return line

    def short(self):
        self.bank.press("PEDAL", 0.15)

    def end(self, patience_s=30):
        status, words = self.machine.run("wait $session; status=$?; cat /tmp/out; (exit $status)",
                                         patience_s)
        self.device.talks = False
        return status, words


def refusal(machine, bank, changes, command="calibrate --masses-g 500,1000,2000"):
    machine.write("/tmp/lines.ini", lines_rig(bank, changes))
    return machine.run("upthrust %s --rig /tmp/lines.ini --catalogue /tmp/none --operator pedal "
                       "</dev/null; status=$?; test ! -e /tmp/none || echo left something; "
                       "(exit $status)" % command)


def check_bad_lines(machine, bank):
    chip = bank.chip
    for name, changes, status, answer in (
            ("a chip that is not there", [("pedal", "line", "gpiochip9 PEDAL")], 1,
             "[pedal] line = gpiochip9 PEDAL: there is no GPIO chip of that name or label here"),
            ("a line name that is not there", [("float", "line", chip + " FLOOT")], 2,
             "[float] line = %s FLOOT: the chip (%s) has no such line" % (chip, bank.label)),
            ("a line number that is not there", [("pedal", "line", chip + " 64")], 2,
             "the chip (%s) has no such line" % bank.label),
            ("one line under two names", [("buzzer", "line", bank.label + " 4")], 2,
             "[lamps] your_turn = %s GO: it is the same line as [buzzer] line = 4: give each its "
             "own" % chip),
            ("an output as an input", [("float", "line", chip + " 6")], 2,
             "it is the same line as [float] line = 6: an output cannot be an input too"),
            ("a relay without a time limit", [("shaker", "limit_s", None)], 2,
             "the section [shaker] lacks the key limit_s: no relay without a time after which it "
             "is off")):
        got, words = refusal(machine, bank, changes)
        check("refused: " + name, got == status and answer in words and words.count("\n") == 0,
              got, words)


def check_busy(machine, device, bank):
    machine.write("/tmp/lines.ini", lines_rig(bank))
    session = Pedalled(machine, device, bank, "calibrate --masses-g 500,1000,2000")
    session.ask()
    for name, changes, answer in (
            ("a pedal that is in use", [], "the line is in use, as an input, by upthrust"),
            ("an output that is in use, as a pedal", [("pedal", "line", "%s GO" % bank.chip),
                                                      ("lamps", "your_turn",
                                                       "%s SPARE" % bank.chip)],
             "the line is in use, as an output, by upthrust")):
        got, words = refusal(machine, bank, changes)
        check("refused: " + name, got == 1 and answer in words and words.count("\n") == 0, got,
              words)
    machine.run("kill -TERM $session")
    status, words = session.end()
    check("a signal gives the lines back", status == 128 + 15 and bank.value("GO") == 0 and
          bank.value("BUZZER") == 1, status, words, session.heard)


def check_stop(machine, device, bank):
    machine.write("/tmp/lines.ini", lines_rig(bank))
    session = Pedalled(machine, device, bank, "calibrate --masses-g 500,1000,2000")
    session.ask()
    bank.press("PEDAL", 0.12, 0.12, 0.12)
    session.until("   stopping after this step")
    time.sleep(0.6)
    bank.press("PEDAL", 0.12, 0.12, 0.12)
    status, words = session.end()
    check("two short ones and two more stop at once", status == 1 and
          sum(">> " in line for line in session.heard) == 1, status, words, session.heard)


def check_presses(machine, device, bank):
    machine.write("/tmp/lines.ini", lines_rig(bank))
    machine.run("rm -rf /tmp/catalogue")
    device.load_g = 0
    bank.pull("PEDAL", False)
    session = Pedalled(machine, device, bank,
                       "calibrate --masses-g 500,1000,2000 --rounds 1 --no-staircase")
    first = session.ask()
    check("bias and active-low are as the rig file says", bank.wait("BUZZER", 1) and
          bank.value("PEDAL") == 1 and bank.value("SHAKER") == 0)
    check("your turn: its lamp is lit", "ballast" in first and bank.wait("GO", 1) and
          bank.value("ALL") == 0, first)
    session.short()
    second = session.ask()
    check("a short press is done", "heaviest" in second, second)
    bank.press("PEDAL", 0.002, 0.001, 0.002, 0.003, 0.001)
    time.sleep(0.7)
    check("a bounce is no press", not session.words.held and bank.value("GO") == 1,
          session.words.held)
    device.load_g = 2000
    session.short()
    lit = [bank.wait("SETTLE", 1), bank.value("GO"), bank.wait("SETTLE", 0), bank.value("GO")]
    check("settling: its lamp blinks, the other is out", lit == [True, 0, True, 0], lit)
    tare = session.ask()
    check("the reading was taken", any("read preload" in line for line in session.heard), tare)
    device.load_g = 0
    session.short()
    mass = session.ask()
    bank.press("PEDAL", 1.3)
    again = session.ask()
    check("a long press is again, from the tare", "0.5 kg" in mass and "leave only the ballast" in again, mass,
          again)
    # Down before the question, up after it: no answer.
    session.short()
    time.sleep(0.6)
    bank.pull("PEDAL", False)
    mass = session.ask()
    bank.pull("PEDAL", True)
    time.sleep(0.8)
    check("a press from before the question is no answer", not session.words.held and
          bank.value("GO") == 1, session.words.held)
    bank.pull("PEDAL", False)
    stuck = session.until("!! ", patience_s=15)
    sounds = bank.wait("BUZZER", 0)
    blinks = [bank.wait("FAULT", value) for value in (1, 0, 1)]
    check("a pedal that stays down is told, shown and heard", "the pedal stays down" in stuck and
          sounds and all(blinks) and bank.value("GO") == 0, stuck, sounds, blinks)
    bank.pull("PEDAL", True)
    check("freed, it is your turn again", bank.wait("GO", 1, 8))
    device.load_g = 500
    bank.press("PEDAL", 0.12, 0.12, 0.12)
    told = session.until("   stopping after")
    time.sleep(0.5)
    session.short()
    last = session.until(">> ")
    status, words = session.end()
    check("two short ones stop after this step", "stopping after this step" in told and
          "leave only the ballast" in last and status == 1, told, last, status, words, session.heard)
    check("all lamps are out at the end", [bank.value(name) for name in
                                           ("GO", "SETTLE", "FAULT", "ALL", "SHAKER")] == [0] * 5)


def check_calibration(machine, device, bank):
    machine.run("rm -rf /tmp/catalogue")
    session = Pedalled(machine, device, bank,
                       "calibrate --masses-g 500,1000,2000 --rounds 1 --no-staircase")
    for _ in range(9):  # ballast, preload, tare, and each mass with the tare behind it
        hung = re.search(r": ([\d.]+) kg", session.ask())
        device.load_g = 1e3 * float(hung[1]) if hung else 0
        session.short()
    status, words = session.end()
    check("a calibration by pedal alone", status == 0 and "100.0 counts/g" in words, status, words,
          session.heard)


def to_the_shake(machine, device, bank):
    """A measurement, led to where the shaker runs."""
    session = Pedalled(machine, device, bank, "measure --item Heron --trials 2 --water fresh")
    while True:
        line = session.ask()
        if "shake" in line:
            return session
        device.load_g = (1500 if "dry" in line else 200 if "under water, openings" in line else 0)
        session.short()


def check_shaker(machine, device, bank):
    machine.run("upthrust item add --name Heron --kind fin --catalogue /tmp/catalogue")
    for how, signal_name, ends in (("a signal", "TERM", 128 + 15), ("kill -9", "KILL", 128 + 9)):
        session = to_the_shake(machine, device, bank)
        on = bank.wait("SHAKER", 1)
        machine.run("kill -%s $session" % signal_name)
        off = bank.wait("SHAKER", 0, 1)
        if signal_name == "TERM":
            told = session.until("note: stopped by the signal")
            check("the way on is by pedal again", "--operator pedal --resume" in told, told)
        status, words = session.end()
        check("the shaker runs in its step and is off after %s" % how,
              on and off and status == ends, on, off, status, words, session.heard)
    machine.write("/tmp/lines.ini", lines_rig(bank, [("shaker", "limit_s", "3")]))
    session = to_the_shake(machine, device, bank)
    on = bank.wait("SHAKER", 1)
    machine.run("kill -STOP $session")
    time.sleep(0.5)
    still = bank.value("SHAKER")
    off = bank.wait("SHAKER", 0, 10)
    machine.run("kill -CONT $session")
    check("its time limit holds even while the program is stopped", on and still == 1 and off, on,
          still, off)
    device.off_and_back(200)
    session.short()
    line = session.ask()
    check("and the session goes on", "Lift" in line and bank.value("SHAKER") == 0, line)
    return session


def check_float(machine, device, bank, session):
    bank.pull("FLOAT", False)
    low = session.until("!! ")
    session.ask()
    blinks = [bank.wait("FAULT", value) for value in (1, 0, 1)]
    session.short()
    refused = session.until("?? ")
    check("water too low: the run pauses", "the water is too low: the run pauses" in low and
          all(blinks) and "still too low" in refused, low, blinks, refused)
    bank.pull("FLOAT", True)
    back = session.until("!! ")
    ask = session.ask()
    check("water back: it goes on with a tare", "the water is back" in back and "leave only the ballast" in ask, back,
          ask)
    device.load_g = 0
    session.short()
    while True:  # two whole trials, then the class on the lamp for all
        line = session.until(">> ", "trial 2 stored")
        if "trial 2" in line:
            break
        session.until("   pedal:")
        time.sleep(READ_S)
        device.load_g = 200 if "Hang the item on the hanger" in line or "hake" in line else 0
        if "hake" in line:
            device.off_and_back(200)
        session.short()
    lit = [bank.wait("ALL", value, 20) for value in (1, 0, 1)]  # once all is stored
    status, words = session.end()
    check("the class is shown, then all is out", all(lit) and status in (0, 3) and
          "Heron" in words and bank.value("ALL") == 0, lit, status, words)
    status, words = machine.run("run=$(grep -rl 'the water is too low' /tmp/catalogue/runs); "
                                "upthrust measure --replay $(basename $(dirname $run)) "
                                "--catalogue /tmp/catalogue", 60)
    check("the run that paused for its water can be repeated", "the same as run" in words, status,
          words)


def check_unheard(machine, device, bank):
    """Edges that nobody takes must not wake a session for ever."""
    words = Lines(machine.uart)
    words.forget()
    device.talks = True
    machine.run("upthrust calibrate --masses-g 500,1000,2000 --rig /tmp/lines.ini --catalogue "
                "/tmp/catalogue --operator json <&7 >&7 2>/tmp/out & session=$!")
    first = {}
    while first.get("event") != "ask":  # the cautions come first
        first = json.loads(words.next(40))
    bank.press("PEDAL", 0.1, 0.1, 0.1, 0.1, 0.1)
    before_s = work_s(machine)
    time.sleep(1.5)
    spent_s = work_s(machine) - before_s
    check("a pedal that nobody listens to answers nothing and costs nothing (%.2f s of work in "
          "1.5 s)" % spent_s, first["do"] == "add-ballast" and not words.held and spent_s < 0.5,
          first, words.held)
    words.send(json.dumps({"id": first["id"], "answer": "stop"}))
    machine.run("wait $session")
    device.talks = False


def check_walk(machine, device, bank):
    """rig-check by another program, which moves the lines that it is asked to move."""
    machine.write("/tmp/lines.ini", lines_rig(bank))
    words = Lines(machine.uart)
    words.forget()
    device.load_g = 0
    device.talks = True
    machine.run("upthrust rig-check --rig /tmp/lines.ini --catalogue /tmp/catalogue --seconds 5 "
                "--operator json <&7 >&7 2>/tmp/out & session=$!")
    lit, asked, last = {}, [], {}
    presses = {"pedal short": (0.15,), "pedal long": (1.2,), "pedal double": (0.15, 0.15, 0.15)}
    outputs = {"lamps your_turn": ("GO", 1), "lamps settling": ("SETTLE", 1),
               "lamps fault": ("FAULT", 1), "lamps all": ("ALL", 1), "buzzer": ("BUZZER", 0),
               "shaker": ("SHAKER", 1)}
    while last.get("event") != "result":
        last = json.loads(words.next(40))
        if last["event"] != "ask":
            continue
        line = last["line"]
        asked.append(line)
        if line in presses:
            time.sleep(READ_S)
            bank.press("PEDAL", *presses[line])
        elif line.startswith("float"):
            bank.pull("FLOAT", line == "float back")
        else:
            name, on = outputs.get(line, (None, None))
            lit[line] = name is None or (bank.value(name) == on and all(
                bank.value(other) != level for other, level in outputs.values() if other != name))
            words.send(json.dumps({"id": last["id"], "answer":
                                   "skip" if line == "lamps fault" else "done"}))
    status, told = machine.run("wait $session; status=$?; cat /tmp/out; (exit $status)")
    device.talks = False
    texts = {finding["text"]: finding["good"] for finding in last["findings"]}
    check("rig-check walks through every line", sorted(asked) == sorted(
        [*presses, "float low", "float back", *outputs, "shaker ready"]), asked)
    check("it lights one at a time, as the rig file says", all(lit.values()), lit)
    short = [text for text, good in texts.items() if not good]
    check("what was not seen falls short, as does a device that is faster than its rig file",
          status == 3 and not last["fit"] and len(short) == 2 and
          short[0] == "lamps fault: does not work" and short[1].startswith("rate_hz = 20"),
          status, told, last)
    fit = [text for text in texts if text.startswith("fit to weigh with to")]
    check("it tells to how many grams (%.3g g)" % last["u_weighing_g"], len(fit) == 1 and
          0.001 < last["u_weighing_g"] < 0.1, last)


def check_lines(machine):
    bank = Bank(machine, NAMES)
    device = Device(machine.cable)
    device.batch, device.every_s = 1, 0.02  # slow enough that a foot comes between
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    machine.run("exec 7<>/dev/ttyS1; stty -F /dev/ttyS1 raw -echo 115200")
    bank.pull("PEDAL", True)
    bank.pull("FLOAT", True)
    bank.pull("BUZZER", True)  # silent when nobody holds its line
    check_bad_lines(machine, bank)
    check_busy(machine, device, bank)
    check_stop(machine, device, bank)
    check_presses(machine, device, bank)
    check_calibration(machine, device, bank)
    session = check_shaker(machine, device, bank)
    check_float(machine, device, bank, session)
    check_walk(machine, device, bank)
    check_unheard(machine, device, bank)


def main():
    begun_s = time.monotonic()
    for name in ("shell", "uart", "cable", "qmp"):  # of a machine before this one
        if os.path.exists(work + "/" + name):
            os.unlink(work + "/" + name)
    machine = Machine()
    try:
        machine.boot()
        check_lines(machine)
    finally:
        machine.process.kill()
        machine.process.wait()
    print("# %.0f s in all" % (time.monotonic() - begun_s))


if __name__ == "__main__":
    run_all(main)
