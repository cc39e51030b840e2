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
EXTRA = []  # more arguments for the emulator


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
        def port(name):
            return ["-chardev", "socket,id=%s,path=%s/%s,server=on,wait=off" % (name, work, name)]
        self.process = subprocess.Popen(
            ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-display", "none", "-monitor",
             "none", "-no-reboot", "-nodefaults", "-S", "-kernel", image, "-initrd", initrd,
             "-append", "console=ttyS0 panic=-1 loglevel=3",
             *port("shell"), "-serial", "chardev:shell", *port("uart"), "-serial", "chardev:uart",
             *port("cable"), "-device", "qemu-xhci,id=usb",
             *EXTRA, "-qmp", "unix:%s/qmp,server=on,wait=off" % work],
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
        end = time.monotonic() + patience_s
        while True:
            try:
                line = self.shell.next(2)
                end = time.monotonic() + patience_s
            except TimeoutError:  # the end of a line may be among the bytes that were lost
                if time.monotonic() > end:
                    raise
                self.shell.send("")
                continue
            if line == "@@again":
                self.start(self.command)
                continue
            if line.startswith("@@done "):
                return int(line.split()[1]), "\n".join(lines)
            lines.append(line)

    def run(self, command, patience_s=30):
        self.start(command)
        return self.end(patience_s)

    def plug_in(self, patience_s=5, serial="BENCH1"):
        end = time.monotonic() + patience_s
        while True:
            try:
                return self.tell("device_add", driver="usb-serial", id="plug", chardev="cable",
                                 serial=serial)
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

    def off_and_back(self, load_g):
        """What shaking looks like: the load leaves and returns."""
        self.load_g = 0
        time.sleep(0.2)
        self.load_g = load_g
        time.sleep(0.1)

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
    read = 0
    for path in ("/dev/ttyUSB0", "/tmp/by-id", "usb:0403:6001", "usb:0403:6001:BENCH1"):
        machine.write("/tmp/cable.ini", rig("path = %s\nbaud = 115200" % path))
        status, words = machine.run("upthrust listen --rig /tmp/cable.ini --seconds 0.7")
        lines = re.search(r"(\d+) lines read, (\d+) refused", words)
        read += int(lines[1]) if lines else 0
        check("a USB cable is read: %s" % path,
              status == 0 and lines is not None and int(lines[1]) > 30 and int(lines[2]) <= 2,
              words)
    device.talks = False
    # What comes between the opening and the setting of the port is echoed by the system.
    heard = device.heard.count(b"\n")
    check("it does not hear its own words (%d of %d lines)" % (heard, read), heard < read / 10, device.heard)
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
          "are too few" in words, status, words)
    machine.plug_in()
    machine.wait_for("-c /dev/ttyUSB0")
    session = Session(machine, device, "path = /dev/ttyUSB0")
    session.break_off()
    begun_s = time.monotonic()
    machine.run("kill -TERM $session")
    status, words = session.end()
    check("a signal is heard while it is away", time.monotonic() - begun_s < 3 and
          status == 128 + 15, status, words)


def main():
    begun_s = time.monotonic()
    machine = Machine()
    try:
        machine.boot()
        check("the small machine boots (%.1f s)" % (time.monotonic() - begun_s), True)
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
    finally:
        machine.process.kill()
        machine.process.wait()
    print("# %.0f s in all" % (time.monotonic() - begun_s))


def run_all(main):
    """All checks of one file; leaves the program with their outcome."""
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(1))  # the machine ends with us
    try:
        main()
    except Exception:  # pylint: disable=broad-except
        check("the checks run to their end", False, traceback.format_exc())
    print("1..%d" % checks[0])
    sys.exit(checks[1] > 0)


if __name__ == "__main__":
    run_all(main)
