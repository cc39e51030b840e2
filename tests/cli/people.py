# SPDX-License-Identifier: GPL-3.0-or-later
"""A person at a simulated tank (invented gear) whose every step is counted: commands typed, answers given,
loads hung, shaken or taken off, and readings, which are what one waits for until the load has settled."""
import collections
import json
import os
import re
import shlex
import subprocess

HERE = os.path.dirname(os.path.abspath(__file__))
HANDLED = {"bare-hook", "add-ballast", "hang-mass", "empty-in-air", "hang-in-air", "empty-in-water", "immerse", "shake", "lift-out"}


class Tank:
    """The scripted hand, and the port that it names."""

    def __init__(self, program, *options):
        self.process = subprocess.Popen([program, *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        self.port = json.loads(self.process.stdout.readline())["port"]

    def say(self, message):
        self.process.stdin.write(json.dumps(message) + "\n")
        return json.loads(self.process.stdout.readline())

    def truth_g(self, item):
        return self.say({"truth": item})["truth_g"]

    def leave(self):
        self.process.stdin.close()
        self.process.wait()


class Person:
    def __init__(self, bench, catalogue, tank=None):
        self.bench, self.catalogue, self.tank = bench, catalogue, tank
        self.steps = collections.Counter()
        self.transcript = []

    def command(self, words):
        self.steps["commands"] += 1
        self.transcript.append("upthrust " + shlex.join(words))
        return [self.bench, *words, "--catalogue", self.catalogue]

    def types(self, *words, answers="", status=0):
        """A command without a session; answers: what is typed at its questions. Returns all it said."""
        done = subprocess.run(self.command(words), input=answers, capture_output=True, text=True)
        self.steps["answers"] += answers.count("\n")
        assert done.returncode == status, (words, done.returncode, done.stdout, done.stderr)
        return done.stdout + done.stderr

    def session(self, *words, hook=None, value=None, status=(0, 3)):
        """hook(ask, events) may answer in the hand's place, value(ask) what a display shows. Returns events and stderr."""
        process = subprocess.Popen(self.command(words) + ["--operator", "json"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, bufsize=1)
        events, ask = [], None
        for line in process.stdout:
            event = json.loads(line)
            events.append(event)
            self.steps["readings"] += event["event"] == "plateau"
            ask = event if event["event"] == "ask" else ask
            if event["event"] not in ("ask", "refused"):
                continue
            self.steps["answers"] += 1
            self.steps["loadings"] += event.get("do") in HANDLED
            typed = value and ask.get("wants") == "value" and ask["do"] != "read-temperature"
            answer = (hook(ask, events) if hook else None) or (self.tank.say(ask) if event is ask else {})
            if typed and answer.get("answer") != "skip":
                answer = {"id": ask["id"], "value": value(ask)}
            assert answer, (words, event)
            process.stdin.write(json.dumps(answer) + "\n")
        said = process.stderr.read()
        found = process.wait()
        assert found in status, (words, found, said, [e["text"] for e in events if "text" in e][-6:])
        return events, said

    def named_command(self, said):
        """What the program says to type next, word for word."""
        command = shlex.split(re.findall(r"`(\S*upthrust [^`]*)`", said)[-1])[1:]
        for gone in ("--catalogue", "--operator"):
            if gone in command:
                at = command.index(gone)
                del command[at:at + 2]
        return command

    def report(self, who, most):
        """Prints the steps; fails where there are more than the limits."""
        print("%s: %s" % (who, ", ".join("%d %s" % (self.steps[k], k) for k in ("commands", "answers", "loadings", "readings"))))
        beyond = {k: (self.steps[k], most[k]) for k in most if self.steps[k] > most[k]}
        assert not beyond, "more steps than the limits: %s" % beyond


def rig_file(name, example, **keys):
    """A rig file of rigs/ with other values."""
    text = open("%s/../../rigs/%s" % (HERE, example)).read()
    for key, value in keys.items():
        text, count = re.subn(r"(?m)^%s = .*$" % key, "%s = %s" % (key, value), text)
        assert count == 1, key
    open(name, "w").write(text)
    return name


def is_picture(path, at_least=10000):
    return open(path, "rb").read(8) == b"\x89PNG\r\n\x1a\n" and os.path.getsize(path) > at_least
