#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The small machine with a disk: its plug is pulled, its clock is stepped, its cable comes off in a trial;
what was told is on the disk, and the run goes on after the next boot."""
import json
import os
import re
import subprocess
import time

import kernel
from kernel import Device, Lines, Machine, check, rig, run_all, work

DISK = work + "/disk"
LINK = "/tmp/bench"
HANGS_G = {"hang-in-air": 900, "immerse": 800, "shake": 800}
TRIALS = 4


class Pc:
    """One boot, from the disk as the last one left it."""

    latest = None

    def __init__(self, now="2026-03-01T12:00:00"):
        for name in ("shell", "uart", "cable", "qmp"):
            if os.path.exists(work + "/" + name):
                os.unlink(work + "/" + name)
        kernel.EXTRA[:] = ["-drive", "file=%s,if=virtio,format=raw,cache=writeback" % DISK,
                           "-rtc", "base=" + now]
        self.device = None
        self.machine = Machine()
        Pc.latest = self
        try:
            self.machine.boot()
            status, words = self.machine.run("mkdir -p /mnt; mount -t ext4 /dev/vda /mnt")
            assert status == 0, words
            self.machine.run("exec 7<>/dev/ttyS1; stty -F /dev/ttyS1 raw -echo 115200")
            self.machine.plug_in()
            self.machine.wait_for("-c /dev/ttyUSB0")
            self.machine.run("ln -s /dev/ttyUSB0 " + LINK)
            self.machine.write("/tmp/rig.ini", rig("path = %s\nbaud = 115200\nreturn_s = 300" % LINK) +
                               "shakes_max = 1\n[tank]\ntemp_c = 20\n")
            self.machine.run("cp /tmp/rig.ini /mnt/rig.ini; sync")
        except BaseException:
            self.cut()
            raise
        self.device = Device(self.machine.cable)
        self.device.talks = True
        self.operator = Lines(self.machine.uart)
        self.events = []

    def cut(self):
        """The power: nothing that is not on the disk stays."""
        if self.device:
            self.device.leaves = True
            self.device.join()
        self.machine.process.kill()
        self.machine.process.wait()

    def begin(self, command):
        self.events = []
        self.machine.run("upthrust %s --rig /mnt/rig.ini --catalogue /mnt/catalogue --operator json "
                         "<&7 >&7 2>/tmp/words & session=$!" % command)

    def next(self, patience_s=40):
        event = json.loads(self.operator.next(patience_s))
        self.events.append(event)
        return event

    def answer(self, ask):
        if ask["do"] != "confirm":  # which doubts what was done last: it is done once more
            self.done = ask
        hangs_g = 1e3 * self.done.get("mass_kg", 0) or HANGS_G.get(self.done["do"], 0)
        if self.done["do"] == "shake":
            self.device.off_and_back(hangs_g)
        self.device.load_g = hangs_g
        self.operator.send(json.dumps({"id": ask["id"], "answer": "done"}))

    def go(self, until=lambda event: event["event"] == "result"):
        """Does what is asked until an event that `until` is true for; an ask among those is left open."""
        while True:
            event = self.next()
            if until(event):
                return event
            if event["event"] == "ask":
                self.answer(event)

    def end(self):
        return self.machine.run("wait $session; status=$?; cat /tmp/words; (exit $status)", 60)

    def trials(self):
        """Numbers of the trials in the catalogue, as an export tells them."""
        self.machine.run("rm -rf /tmp/x; upthrust export --format csv --to /tmp/x --catalogue /mnt/catalogue")
        words = self.machine.run("cat /tmp/x/trials.csv")[1].splitlines()
        at = words[0].split(",").index("number")
        return sorted(int(line.split(",")[at]) for line in words[1:] if line)


def so_many(key, value, number):
    seen = [0]
    def until(event):
        seen[0] += event.get(key) == value
        return event.get(key) == value and seen[0] == number
    return until


def cut_in_calibration(pc):
    pc.begin("calibrate --masses-g 500,1000,2000 --rounds 1 --no-staircase")
    ask = pc.go(so_many("mass_kg", 2, 2))  # the first is the preload
    pc.answer(ask)
    time.sleep(0.3)
    pc.cut()
    pc = Pc()
    pc.begin("calibrate --resume")
    pc.go()
    status, words = pc.end()
    asked = [e["mass_kg"] for e in pc.events if e.get("do") == "hang-mass"]
    slope = pc.events[-1]["calibration"]["slope_counts_kg"]
    check("power cut in a calibration: only the loading under way is hung again", status == 0 and
          asked == [2], status, words, asked)
    check("power cut in a calibration: its slope is the device's (%.6g counts/kg)" % slope,
          abs(slope / 1e5 - 1) < 1e-3, slope)
    return pc


def cut_at(pc, name, command, until, stored, moment_s):
    """Cuts the power so long after an event; then what was stored must be there, and is told."""
    pc.begin(command)
    event = pc.go(until)
    if event["event"] == "ask":
        pc.answer(event)
    time.sleep(moment_s)
    pc.machine.run("echo not on the disk >/mnt/control")
    pc.cut()
    pc = Pc()
    status, words = pc.machine.run("cat /mnt/control")
    check("power cut %s: what was not on the disk is gone" % name, "not on the disk" not in words, words)
    numbers = pc.trials()
    check("power cut %s: every trial that was told is there" % name, numbers == stored, numbers, stored)
    return pc


def check_power(pc):
    pc.machine.run("upthrust item add --name 'Lead block' --kind lead --catalogue /mnt/catalogue")
    pc = cut_at(pc, "in the first trial", "measure --item 'Lead block' --trials %d" % TRIALS,
                so_many("do", "immerse", 1), [], 0.2)
    pc.begin("calibrate --masses-g 500,1000,2000")
    pc.next()
    pc.machine.run("kill $session")
    status, words = pc.end()
    check("the next start tells of it and of the way on",
          "an earlier run was interrupted (measure, Lead block)" in words and
          re.search(r"continue with `upthrust measure --rig /mnt/rig.ini --catalogue /mnt/catalogue --operator json "
                    r"--resume [0-9a-f]{8}`", words), words)
    pc.operator.forget()
    pc = cut_at(pc, "while the third trial is read", "measure --resume", so_many("do", "immerse", 3), [1, 2], 0.2)
    asked = [e["do"] for e in pc.events]
    pc = cut_at(pc, "just when a trial was told", "measure --resume", so_many("event", "trial", 1), [1, 2, 3], 0)
    pc.begin("measure --resume")
    result = pc.go()
    status, words = pc.end()
    asked = [e["do"] for e in pc.events if e["event"] == "ask"]
    check("three power cuts cost three trials under way, no more", status in (0, 3) and
          pc.trials() == [1, 2, 3, 4] and asked.count("immerse") == 1 and "hang-in-air" not in asked,
          status, words, asked)
    net_g = result["results"][0]["buoyancy_g"]
    check("its result is the item's (%.2f g)" % net_g, abs(net_g + 800) < 0.6, result["results"][0])
    words = pc.machine.run("upthrust measure --replay %s --catalogue /mnt/catalogue" %
                           result["results"][0]["run_id"], 60)[1]
    check("the run that three others went before repeats by itself", "the same as run" in words, words)
    return pc


def check_cable_in_trial(pc):
    pc.begin("measure --item 'Lead block' --trials 3")
    ask = pc.go(so_many("do", "immerse", 2))
    pc.device.talks = False
    pc.answer(ask)
    time.sleep(0.3)
    pc.machine.pull_out()
    fault = pc.go(lambda event: event["event"] == "fault")
    pc.machine.plug_in()
    back = pc.go(lambda event: event["event"] == "fault" and "back" in event["text"])
    pc.device.talks = True
    pc.go()
    status, words = pc.end()
    numbers = [e["number"] for e in pc.events if e["event"] == "trial"]
    asked = [e["do"] for e in pc.events if e["event"] == "ask"]
    check("the cable comes off in a trial: it costs that trial", status in (0, 3) and numbers == [1, 2, 3] and
          asked.count("immerse") == 4, status, words, numbers, asked)
    check("and is told: %s; %s" % (fault["text"], back["text"]), "is gone" in fault["text"])


def follows(pc):
    """Waits until the session has looked where its port's link leads: reading a link sets its time of access."""
    pc.machine.run("touch -h -d @0 " + LINK)
    pc.machine.wait_for("$(stat -c %%X %s) != 0" % LINK, 30)


def check_another_adapter(pc):
    """The same name, another adapter: it is not taken for the one that is waited for."""
    pc.begin("measure --item 'Lead block' --trials 2")
    ask = pc.go(so_many("do", "immerse", 2))
    pc.device.talks = False  # else the step might be read before the cable is out
    pc.answer(ask)
    pc.machine.pull_out()
    pc.go(lambda event: event["event"] == "fault")
    pc.machine.plug_in(serial="OTHER")
    pc.machine.wait_for("-c /dev/ttyUSB0")
    follows(pc)
    follows(pc)  # whoever looks again was not content
    pc.machine.pull_out()
    pc.machine.wait_for("! -e /dev/ttyUSB0")
    pc.machine.plug_in()
    pc.go(lambda event: event["event"] == "fault" and "is back" in event["text"])
    pc.device.talks = True
    pc.go()
    status, words = pc.end()
    faults = [e["text"] for e in pc.events if e["event"] == "fault"]
    check("another adapter under the old name is not taken for it", len(faults) == 2 and status in (0, 3) and
          [e["number"] for e in pc.events if e["event"] == "trial"] == [1, 2], faults, status, words)


def check_clock(pc):
    """The wall clock is stepped in a session, both ways; the bench counts by another one."""
    pc.begin("measure --item 'Lead block' --trials 3")
    for number, step in ((1, 3600), (3, -7200)):
        ask = pc.go(so_many("do", "immerse", 1))
        pc.machine.run("date -s @$(($(date +%%s) + %d))" % step)
        pc.answer(ask)
    result = pc.go()
    status, words = pc.end()
    faults = [e for e in pc.events if e["event"] == "fault"]
    check("the clock is stepped by an hour and back by two: it costs nothing", status in (0, 3) and not faults and
          result["results"][0]["trials"] == 3, status, words, faults)
    pc.begin("measure --item 'Lead block' --trials 2")
    pc.next()
    pc.machine.run("kill $session")
    status, words = pc.end()
    check("a clock before the last record is told", "note: the clock is earlier than the last record" in words, words)


def main():
    begun_s = time.monotonic()
    with open(DISK, "wb") as disk:
        disk.truncate(64 << 20)
    subprocess.run(["/sbin/mke2fs", "-q", "-F", "-t", "ext4", DISK], check=True)
    pc = Pc()
    try:
        pc = cut_in_calibration(pc)
        pc = check_power(pc)
        check_cable_in_trial(pc)
        check_another_adapter(pc)
        check_clock(pc)
    finally:
        Pc.latest.cut()
    print("# %.0f s with a disk" % (time.monotonic() - begun_s))


if __name__ == "__main__":
    run_all(main)
