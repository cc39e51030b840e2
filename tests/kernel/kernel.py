#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Boots the small machine, plays the device at the other end of its ports, pulls the plug."""
import json
import os
import random
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time
import traceback

image, initrd, work = sys.argv[1:4]
COUNTS_PER_G = 100
ZERO = 50000
checks = [0, 0]


def check(name, good, *told):
    checks[0] += 1
    checks[1] += not good
    print(("ok" if good else "not ok"), checks[0], "-", name)
    for text in told if not good else ():
        print("\n".join("#   " + line for line in str(text).splitlines()))
    sys.stdout.flush()


def connect(name, patience_s=10):
    end = time.monotonic() + patience_s
    while True:
        try:
            channel = socket.socket(socket.AF_UNIX)
            channel.connect(os.path.join(work, name))
            return channel
        except OSError:
            channel.close()
            if time.monotonic() > end:
                raise
            time.sleep(0.02)


class Lines:
    """Lines of a socket, each waited for no longer than told."""

    def __init__(self, channel):
        self.channel = channel
        self.held = b""

    def send(self, text):
        self.channel.sendall(text.encode() + b"\n")

    def forget(self):
        self.held = b""
        while select.select([self.channel], [], [], 0.1)[0]:
            self.channel.recv(65536)

    def next(self, patience_s=20):
        end = time.monotonic() + patience_s
        while b"\n" not in self.held:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self.channel], [], [], left)[0]:
                raise TimeoutError("nothing came in %g s; so far: %r" % (patience_s, self.held))
            got = self.channel.recv(65536)
            if not got:
                raise EOFError("the machine is gone; so far: %r" % self.held)
            self.held += got
        line, self.held = self.held.split(b"\n", 1)
        return line.decode("utf-8", "replace").rstrip("\r")


class Machine:
    def __init__(self):
        for name in ("shell", "uart", "cable", "qmp"):
            if os.path.exists(os.path.join(work, name)):
                os.unlink(os.path.join(work, name))

        def port(name):
            return ["-chardev", "socket,id=%s,path=%s/%s,server=on,wait=off" % (name, work, name)]
        self.process = subprocess.Popen(
            ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-display", "none", "-monitor",
             "none", "-no-reboot", "-nodefaults", "-S", "-kernel", image, "-initrd", initrd,
             "-append", "console=ttyS0 panic=-1 loglevel=3",
             *port("shell"), "-serial", "chardev:shell", *port("uart"), "-serial", "chardev:uart",
             *port("cable"), "-device", "qemu-xhci,id=usb",
             "-qmp", "unix:%s/qmp,server=on,wait=off" % work],
            stdin=subprocess.DEVNULL, stdout=sys.stderr)

    def boot(self):
        self.shell = Lines(connect("shell"))
        self.uart = connect("uart")
        self.cable = connect("cable")
        self.qmp = Lines(connect("qmp"))
        self.qmp.next()
        self.tell("qmp_capabilities")
        self.tell("cont")
        heard = []
        while "@@ready" not in "".join(heard[-1:]):
            try:
                heard.append(self.shell.next(60))
            except (EOFError, TimeoutError) as problem:
                raise type(problem)("\n".join(heard[-20:] + [str(problem)])) from problem

    def tell(self, command, **arguments):
        self.qmp.send(json.dumps({"execute": command, "arguments": arguments}))
        while True:
            answer = json.loads(self.qmp.next())
            if "return" in answer:
                return
            if "error" in answer:
                raise RuntimeError(answer["error"]["desc"])

    def start(self, command):
        self.command = command
        self.shell.send("%d %s\n" % (len(command.encode()), command))

    def end(self, patience_s=30):
        """Status and words of the command that was started."""
        lines = []
        while True:
            line = self.shell.next(patience_s)
            if line == "@@again":
                self.start(self.command)
                continue
            if line.startswith("@@done "):
                return int(line.split()[1]), "\n".join(lines)
            lines.append(line)

    def run(self, command, patience_s=30):
        self.start(command)
        return self.end(patience_s)

    def plug_in(self, patience_s=5):
        end = time.monotonic() + patience_s
        while True:
            try:
                return self.tell("device_add", driver="usb-serial", id="plug", chardev="cable",
                                 serial="BENCH1")
            except RuntimeError:  # the emulator lets go of what was pulled out in its own time
                if time.monotonic() > end:
                    raise
                time.sleep(0.05)

    def pull_out(self):
        self.tell("device_del", id="plug")

    def wait_for(self, condition, patience_s=10):
        end = time.monotonic() + patience_s
        while self.run("test " + condition)[0] != 0:
            if time.monotonic() > end:
                raise TimeoutError(condition)
            time.sleep(0.05)

    def write(self, path, text):
        self.run("printf '%s' >%s" % (text.replace("\n", "\\n"), path))


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


class Device(threading.Thread):
    """Sends readings of what hangs, twenty times as fast as its nominal rate."""

    def __init__(self, channel):
        super().__init__(daemon=True)
        self.channel = channel
        self.load_g = 0
        self.heard = b""
        self.talks = False
        self.leaves = False
        self.batch, self.every_s = 4, 0.01
        self.noise = random.Random(1)
        self.channel.setblocking(False)
        self.start()

    def run(self):
        rest = b""
        while not self.leaves:
            time.sleep(self.every_s)
            try:  # left unread, it would in the end hold up the emulator
                self.heard += self.channel.recv(65536)
            except BlockingIOError:
                pass
            if not self.talks:
                rest = b""
                continue
            for _ in range(self.batch):
                rest += b"%d\r\n" % round(ZERO + COUNTS_PER_G * self.load_g +
                                          self.noise.gauss(0, 5))
            try:
                rest = rest[self.channel.send(rest):]
            except BlockingIOError:  # nobody reads; a device does not wait either
                rest = b""


def rig(port):
    return ("[rig]\nid = small\n[port]\nkind = serial\n" + port +
            "\n[line]\nlayout = bare\nrate_hz = 20\n[bench]\nread_after_s = 2\nwindow_s = 2\n")


def cpu_s(words):
    """User and system time as the guest's `time` prints them."""
    parts = re.findall(r"(?m)^(?:user|sys)\s+(\d+)m\s*([\d.]+)s", words)
    return sum(60 * float(minutes) + float(seconds) for minutes, seconds in parts)


# ---- a real 16550 ----

def check_uart(machine, device):
    machine.write("/tmp/uart.ini", rig("path = /dev/ttyS1\nbaud = 4800\ndata_bits = 7\n"
                                       "parity = even\nstop_bits = 2"))
    device.talks = True
    machine.start("upthrust listen --rig /tmp/uart.ini --seconds 3 >/tmp/first 2>&1 & first=$!; "
                  "sleep 1; stty -a -F /dev/ttyS1; "
                  "upthrust listen --rig /tmp/uart.ini --seconds 1; echo second ended with $?; "
                  "wait $first; echo first ended with $?; cat /tmp/first")
    status, words = machine.end()
    device.talks = False
    first = words[words.find("first ended with"):]
    lines = re.search(r"(\d+) lines read, (\d+) refused", first)
    check("a 16550 is read", "first ended with 0" in first and lines is not None and
          int(lines[1]) > 300 and int(lines[2]) <= 2, words)
    check("it is set as the rig file says",
          all(re.search(r"(^|\s)%s(\s|;|$)" % wanted, words, re.M) for wanted in
              ("speed 4800 baud", "cs7", "parenb", "-parodd", "cstopb", "-crtscts", "-ixon",
               "-icanon", "-echo", "-opost", "-icrnl")), words)
    check("a second program is refused", "second ended with 1" in words and
          "upthrust: the port /dev/ttyS1 is in use by another program" in words, words)
    check("the first one does not notice",
          lines is not None and int(lines[2]) <= 2 and "in use" not in first, words)
    machine.write("/tmp/fast.ini", rig("path = /dev/ttyS1\nbaud = 3000000"))
    status, words = machine.run("upthrust listen --rig /tmp/fast.ini --seconds 1")
    check("a rate that the driver does not keep is refused", status == 1 and
          "/dev/ttyS1 cannot be set to 3000000 baud, 8N1" in words and words.count("\n") == 0,
          words)
    status, words = machine.run("chown root:dialout /dev/ttyS1; chmod 660 /dev/ttyS1; "
                                "su diver -c 'upthrust listen --rig /tmp/uart.ini --seconds 1'")
    check("who may not use it is told the group and the way in", status == 1 and
          "the group dialout" in words and "`adduser diver dialout`" in words, words)


# ---- a USB cable ----

def check_cable(machine, device):
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    machine.run("ln -s /dev/ttyUSB0 /tmp/by-id")
    device.talks = True
    for path in ("/dev/ttyUSB0", "/tmp/by-id", "usb:0403:6001", "usb:0403:6001:BENCH1"):
        machine.write("/tmp/cable.ini", rig("path = %s\nbaud = 115200" % path))
        status, words = machine.run("upthrust listen --rig /tmp/cable.ini --seconds 0.7")
        lines = re.search(r"(\d+) lines read, (\d+) refused", words)
        check("a USB cable is read: %s" % path,
              status == 0 and lines is not None and int(lines[1]) > 30 and int(lines[2]) <= 2,
              words)
    device.talks = False
    check("it does not hear its own words (%d bytes)" % len(device.heard), len(device.heard) < 50,
          device.heard)
    for path, answer in (("usb:0403:6002", "no port usb:0403:6002"),
                         ("usb:0403:6001:OTHER", "no port usb:0403:6001:OTHER"),
                         ("/dev/ttyUSB7", "no port /dev/ttyUSB7")):
        status, words = machine.run("upthrust listen --rig /tmp/cable.ini --port %s" % path)
        check("a port that is not there: %s" % path, status == 1 and answer in words and
              words.count("\n") == 0, words)
    # The system still lists it, but its node is gone: as between the two on an unplugging.
    status, words = machine.run("mv /dev/ttyUSB0 /dev/away; upthrust listen --rig /tmp/cable.ini; "
                                "status=$?; mv /dev/away /dev/ttyUSB0; (exit $status)")
    check("a port that goes between listing and opening", status == 1 and
          "there is no port /dev/ttyUSB0" in words and words.count("\n") == 0, words)


def check_pulled(machine, device):
    machine.write("/tmp/cable.ini", rig("path = usb:0403:6001\nbaud = 115200"))
    device.talks = True
    machine.start("time upthrust listen --rig /tmp/cable.ini --seconds 30")
    time.sleep(3)
    pulled_s = time.monotonic()
    machine.pull_out()
    status, words = machine.end()
    took_s = time.monotonic() - pulled_s
    device.talks = False
    check("a pulled cable ends `listen` at once (%.2f s)" % took_s, status == 1 and took_s < 2 and
          "upthrust: the device is gone: check its cable" in words, words)
    check("and nothing spun meanwhile (%.2f s of work)" % cpu_s(words),
          0 <= cpu_s(words) < 1.5 and "user" in words, words)
    machine.wait_for("! -e /dev/ttyUSB0")


def work_s(machine):
    """What the session has cost so far."""
    words = machine.run("cat /proc/$session/stat")[1]
    fields = words.rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100


# ---- sessions that outlive a pulled cable ----

class Session:
    def __init__(self, machine, device, port):
        self.machine, self.device = machine, device
        self.operator = Lines(machine.uart)
        self.operator.forget()
        self.events = []
        machine.write("/tmp/cable.ini", rig(port))
        machine.run("rm -rf /tmp/catalogue; "
                    "upthrust calibrate --rig /tmp/cable.ini --catalogue /tmp/catalogue "
                    "--masses-g 500,1000,2000 --rounds 1 --operator json "
                    "<&7 >&7 2>/tmp/words & session=$!")
        device.load_g = 0
        device.talks = True

    def answer(self, ask, word="done"):
        self.operator.send(json.dumps({"id": ask["id"], "answer": word}))

    def next(self, kind=None, patience_s=20):
        while True:
            event = json.loads(self.operator.next(patience_s))
            self.events.append(event)
            if kind is None or event["event"] == kind:
                return event

    def go(self, until):
        """Hangs what is asked for; returns the event that `until` is true for."""
        while True:
            event = self.next()
            if until(event):
                return event
            if event["event"] == "ask":
                self.device.load_g = 1e3 * event.get("mass_kg", 0)
                self.answer(event)

    def break_off(self):
        """Pulls the cable while the second mass is read; returns the fault and its delay."""
        masses = []
        ask = self.go(lambda e: e.get("do") == "hang-mass" and
                      (masses.append(e) or len(masses) == 3))
        self.device.load_g = 1e3 * ask["mass_kg"]
        self.device.talks = False
        self.answer(ask)
        time.sleep(0.2)
        pulled_s = time.monotonic()
        self.machine.pull_out()
        fault = self.next("fault")
        return fault, time.monotonic() - pulled_s

    def work_s(self):
        return work_s(self.machine)

    def end(self):
        status, words = self.machine.run("wait $session; status=$?; cat /tmp/words; (exit $status)")
        self.device.talks = False
        return status, words


def check_return(machine, device, name, port, node):
    session = Session(machine, device, port)
    fault, took_s = session.break_off()
    check("%s: the loss is told at once (%.2f s)" % (name, took_s), took_s < 2 and
          "the device is gone" in fault["text"], fault)
    ask = session.next("ask")
    session.answer(ask)
    refused = session.next()
    check("%s: no step is taken while the device is away" % name, refused["event"] == "refused" and
          refused["id"] == ask["id"], refused)
    before_s = session.work_s()
    time.sleep(1.5)
    spent_s = session.work_s() - before_s
    check("%s: waiting costs little (%.2f s of work in 1.5 s)" % (name, spent_s), spent_s < 0.5)
    machine.plug_in()
    fault = session.next("fault")
    device.talks = True
    check("%s: the return is told" % name, "the device is back" in fault["text"] and
          "at %s:" % node in fault["text"], fault)
    ask = session.next("ask")
    check("%s: the step begins anew with a tare" % name, ask["do"] == "empty-in-water", ask)
    device.load_g = 0
    session.answer(ask)
    again = session.go(lambda e: e["event"] == "ask" and e["do"] != "empty-in-water")
    check("%s: and goes on with the mass that was lost" % name, again.get("mass_kg") == 1, again)
    device.load_g = 1000
    session.answer(again)
    session.go(lambda e: e["event"] == "result")
    status, words = session.end()
    check("%s: the session ends well" % name, status == 0 and words == "", status, words)
    slope = session.events[-1]["calibration"]["slope_counts_kg"]
    check("%s: its slope is the device's (%.6g counts/kg)" % (name, slope),
          abs(slope / (1e3 * COUNTS_PER_G) - 1) < 1e-3, session.events[-1])
    status, words = machine.run("grep -rhoE '(the device is (gone|back)[^\"]*)' /tmp/catalogue")
    check("%s: the journal tells both" % name, "is gone" in words and "is back" in words, words)


def check_no_return(machine, device):
    session = Session(machine, device, "path = /dev/ttyUSB0\nreturn_s = 2")
    session.break_off()
    status, words = session.end()
    check("a device that stays away ends the session", status == 1 and
          "did not come back within 2 s" in words and words.count("\n") == 0, status, words)
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    session = Session(machine, device, "path = /dev/ttyUSB0")
    session.break_off()
    session.answer(session.next("ask"), "stop")
    begun_s = time.monotonic()
    status, words = session.end()
    check("`stop` is heard while it is away", time.monotonic() - begun_s < 3 and status == 1 and
          "carry no calibration" in words, status, words)
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    session = Session(machine, device, "path = /dev/ttyUSB0")
    session.break_off()
    begun_s = time.monotonic()
    machine.run("kill -TERM $session")
    status, words = session.end()
    check("a signal is heard while it is away", time.monotonic() - begun_s < 3 and
          status == 128 + 15, status, words)


# ---- GPIO lines ----

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
    check("a long press is again, from the tare", "0.5 kg" in mass and "Leave" in again, mass,
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
          "Leave" in last and status == 1, told, last, status, words, session.heard)
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
    check("water back: it goes on with a tare", "the water is back" in back and "Leave" in ask, back,
          ask)
    device.load_g = 0
    session.short()
    while True:  # two whole trials, then the class on the lamp for all
        line = session.until(">> ", "trial 2 stored")
        if "trial 2" in line:
            break
        session.until("   pedal:")
        device.load_g = 200 if "under water" in line else 0
        session.short()
    lit = [bank.wait("ALL", value, 20) for value in (1, 0, 1)]  # once all is stored
    status, words = session.end()
    check("the class is shown, then all is out", all(lit) and status in (0, 3) and
          "Heron" in words and bank.value("ALL") == 0, lit, status, words)


def check_unheard(machine, device, bank):
    """Edges that nobody takes must not wake a session for ever."""
    words = Lines(machine.uart)
    words.forget()
    device.talks = True
    machine.run("upthrust calibrate --masses-g 500,1000,2000 --rig /tmp/lines.ini --catalogue "
                "/tmp/catalogue --operator json <&7 >&7 2>/tmp/out & session=$!")
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


# ---- the parts: each has a machine of its own ----

def check_ports(machine):
    uart = Device(machine.uart)
    check_uart(machine, uart)
    device = Device(machine.cable)
    check_cable(machine, device)
    check_pulled(machine, device)
    # The 16550 is now the operator's: what the device had sent and nobody read goes first.
    uart.leaves = True
    uart.join()
    machine.uart.setblocking(True)
    machine.run("exec 7<>/dev/ttyS1; stty -F /dev/ttyS1 raw -echo 115200; "
                "timeout 1 cat <&7 >/dev/null")
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    check_return(machine, device, "same name", "path = /dev/ttyUSB0\nbaud = 115200",
                 "/dev/ttyUSB0")
    # Who holds the dead node keeps its name from the one that returns.
    machine.run("sleep 1000 </dev/ttyUSB0 & holder=$!")
    check_return(machine, device, "other name", "path = usb:0403:6001", "/dev/ttyUSB1")
    machine.run("kill $holder; wait $holder")
    machine.run("sleep 1000 </dev/ttyUSB1 & holder=$!")
    check_return(machine, device, "path under another name", "path = /dev/ttyUSB1",
                 "/dev/ttyUSB0")
    machine.run("kill $holder; wait $holder")
    check_no_return(machine, device)


PARTS = {"ports": check_ports, "lines": check_lines}


def run_part(name):
    begun_s = time.monotonic()
    machine = Machine()
    try:
        machine.boot()
        check("%s: the small machine boots (%.1f s)" % (name, time.monotonic() - begun_s), True)
        PARTS[name](machine)
    except Exception:  # pylint: disable=broad-except
        check("%s: the checks run to their end" % name, False, traceback.format_exc())
    finally:
        machine.process.kill()
        machine.process.wait()
    print("# %s: %.0f s in all" % (name, time.monotonic() - begun_s))


signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(1))  # the machine ends with us
wanted = os.environ.get("PARTS", "").split()
for part in PARTS:
    if not wanted or part in wanted:
        run_part(part)
    else:
        print("# skipped: %s, since PARTS does not name it" % part)
print("1..%d" % checks[0])
sys.exit(checks[1] > 0)
