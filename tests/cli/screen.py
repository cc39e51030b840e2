#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The live screen on a terminal of our own making: a pseudo-terminal behind a shell with job control,
and as much of a terminal as ncurses needs to be understood. Prints TAP."""
import concurrent.futures
import fcntl
import os
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time

bench, tank, rigs, work = sys.argv[1:5]

# Started in the background or by nohup, this program would hand ignored signals on to the shell under test.
for number in (signal.SIGINT, signal.SIGQUIT, signal.SIGHUP, signal.SIGTERM):
    signal.signal(number, signal.SIG_DFL)
scale = work + "/scale.ini"
os.makedirs(work, exist_ok=True)
with open(rigs + "/hanging-scale.ini") as example, open(scale, "w") as own:
    own.write(example.read().replace("id = hanging-scale", "id = scale-of-the-test"))


class Terminal:
    """Cells, a cursor, two screens. Anything else that arrives is a mistake."""

    def __init__(self, columns, rows):
        self.resize(columns, rows)
        self.saved = None
        self.hidden = False
        self.rest = ""

    def resize(self, columns, rows):
        self.columns, self.rows = columns, rows
        self.row = self.column = 0
        self.top, self.bottom = 0, rows - 1  # of what scrolls
        self.cells = [[" "] * columns for _ in range(rows)]

    def text(self):
        return "\n".join("".join(row).rstrip() for row in self.cells)

    def put(self, letter):
        if self.column == self.columns:
            self.column = 0
            self.feed_line()
        self.cells[self.row][self.column] = self.last = letter
        self.column += 1

    def scroll(self, count):
        """Up; down where negative."""
        for _ in range(abs(count)):
            gone, new = (self.top, self.bottom) if count > 0 else (self.bottom, self.top)
            del self.cells[gone]
            self.cells.insert(new, [" "] * self.columns)

    def feed_line(self):
        if self.row == self.bottom:
            self.scroll(1)
        else:
            self.row += 1

    def csi(self, private, numbers, final):
        n = [int(x) if x else 0 for x in numbers.split(";")]
        one = max(n[0], 1)
        line = self.cells[self.row]
        if final in "ABCD":  # a cursor that waits to wrap stands on the last column
            self.column = min(self.column, self.columns - 1)
        if private:
            for mode in n:
                if mode == 25:
                    self.hidden = final == "l"
                if mode == 1049 and final == "h":
                    self.saved = (self.cells, self.row, self.column)
                    self.cells = [[" "] * self.columns for _ in range(self.rows)]
                if mode == 1049 and final == "l" and self.saved:
                    self.cells, self.row, self.column = self.saved
                    self.saved = None
        elif final in "Hf":
            self.row, self.column = one - 1, max(n[1] if len(n) > 1 else 1, 1) - 1
        elif final == "d":
            self.row = one - 1
        elif final == "G":
            self.column = one - 1
        elif final == "A":
            self.row -= one
        elif final == "B":
            self.row += one
        elif final == "C":
            self.column += one
        elif final == "D":
            self.column -= one
        elif final in "ST":
            self.scroll(one if final == "S" else -one)
        elif final == "r":
            self.top, self.bottom = one - 1, (n[1] if len(n) > 1 and n[1] else self.rows) - 1
            self.row = self.column = 0
        elif final == "J":
            first = self.row * self.columns + self.column if n[0] == 0 else 0
            for i in range(first, self.rows * self.columns):
                self.cells[i // self.columns][i % self.columns] = " "
        elif final == "K":
            span = range(self.column, self.columns) if n[0] == 0 else range(0, self.column + 1)
            for i in span:
                line[i] = " "
        elif final == "X":
            line[self.column:self.column + one] = [" "] * one
        elif final == "b":
            for _ in range(one):
                self.put(self.last)
        elif final == "P":
            del line[self.column:self.column + one]
            line += [" "] * (self.columns - len(line))
        elif final == "@":
            line[self.column:self.column] = [" "] * one
            del line[self.columns:]
        else:
            assert final in "mtlh", (numbers, final)

    def feed(self, text):
        text = self.rest + text
        self.rest = ""
        pattern = re.compile(r"\x1b\[([?>]?)([0-9;]*)([A-Za-z@])|\x1b[()][0AB]|\x1b[=>78M]|[^\x1b]", re.S)
        while text:
            match = pattern.match(text)
            if match is None:
                assert len(text) < 20, text[:40]
                self.rest = text
                return
            text = text[match.end():]
            if match.group(3):
                self.csi(*match.groups())
            elif match.group(0) == "\r":
                self.column = 0
            elif match.group(0) == "\n":
                self.feed_line()
            elif match.group(0) == "\x1bM":
                if self.row == self.top:
                    self.scroll(-1)
                else:
                    self.row -= 1
            elif match.group(0) == "\b":
                self.column -= 1
            elif match.group(0) == "\t":
                self.column = min(self.column // 8 * 8 + 8, self.columns - 1)
            elif match.group(0) >= " ":
                self.put(match.group(0))


class Session:
    """A shell with job control on its own terminal: settings, the bench, its status, settings."""

    def __init__(self, command, columns=80, rows=24, term="xterm", after=":", lang="C.UTF-8", cautions=True):
        self.screen = Terminal(columns, rows)
        self.raw = ""
        script = "trap : INT; echo \"before $(stty -g)\"; %s; echo \"status $?\"; echo \"after $(stty -g)\"; %s; echo shell over" % (command, after)
        self.pid, self.master = os.forkpty()
        if self.pid == 0:
            environment = dict(os.environ, TERM=term, LC_ALL=lang)
            environment.pop("NO_COLOR", None)
            time.sleep(0.1)  # the size is set first
            os.execvpe("sh", ["sh", "-m", "-c", script], environment)
        self.size(columns, rows)
        if cautions:
            self.wait("Press Enter to begin")
            os.write(self.master, b"\n")

    def size(self, columns, rows):
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def read(self, seconds):
        if not select.select([self.master], [], [], seconds)[0]:
            return False
        try:
            text = os.read(self.master, 65536).decode("utf-8", "replace")
        except OSError:
            return False
        self.raw += text
        self.screen.feed(text)
        return True

    def wait(self, pattern, seconds=20):
        end = time.monotonic() + seconds
        while not re.search(pattern, self.screen.text()):
            assert time.monotonic() < end, "no %r on\n%s" % (pattern, self.screen.text())
            while not self.read(0.2) and time.monotonic() < end:
                pass
        while self.read(0.05):
            pass

    def type(self, text):
        time.sleep(0.5)  # sooner than that nobody has read the question
        os.write(self.master, text.encode())

    def bench(self):
        children = open("/proc/%d/task/%d/children" % (self.pid, self.pid)).read().split()
        return int(children[0])

    def end(self):
        self.wait("shell over")
        os.close(self.master)
        os.waitpid(self.pid, 0)
        settings = re.findall(r"(?:before|after) ([0-9a-f]+:[0-9a-f:]+)", self.raw)
        assert len(settings) >= 2 and len(set(settings)) == 1, settings
        assert not re.search(r"\x1b\[([0-9;]*;)?[34]0[;m]", self.raw), "black on black"
        assert self.screen.saved is None and not self.screen.hidden, "alternate screen or no cursor"
        return self.screen.text()


def outcome(body):
    """None, or why it failed."""
    try:
        body()
    except Exception as why:  # pylint: disable=broad-except
        return "%s: %s" % (type(why).__name__, why)
    return None


def calibrate(catalogue, more="", rig=scale):
    return "%s calibrate --rig %s --masses-g 500,1000,2000 --rounds 1 --no-staircase --catalogue %s/%s %s" % (
        bench, rig, work, catalogue, more)


def whole_session(term, lang):
    session = Session(calibrate("whole-" + term), term=term, lang=lang)
    session.wait("Hang the ballast on the hanger under water")
    assert "YOUR TURN" in session.screen.text() and "Enter: done" in session.screen.text()
    session.type("\n")
    session.wait("degrees C|heaviest mass")
    if "degrees C" in session.screen.text():
        session.type("20\n")
        session.wait("heaviest mass")
    session.type("\n")
    off = term == "vt100"  # by the scale's steps
    for number, shown in enumerate(("2,00", "2.51" if off else "2.5", "2.00 kg", "3", "2", "4.01" if off else "4", "2")):
        mass = ("0.5", "1", "2")[number // 2] if number % 2 else None
        session.wait("(?s)upper hook.*: %s kg" % mass if mass else "(?s)(?i)leave only the ballast.*type the number")
        if number == 1:
            session.type("five\n")
            session.wait("not a number")
        session.type(shown)
        session.wait(re.escape("> " + shown + "_"))
        os.write(session.master, b"\n")
    text = session.end()
    # rounding weighs alike: (0.5 0.51 + 1 1 + 2 2.01) / (0.25 + 1 + 4)
    assert ("shows 1.00476 kg" if off else "shows 1.00000 kg for a kilogram") in text and "status 0" in text, text
    assert off or re.search(r"(Good|Rough): this calibration is known to [0-9.]+ g at 100 g", text), text
    assert "Next: " in text and "residual" not in text and "do not fit" not in text, text
    assert not off or "steps of 10 g limit this: nothing shows a fault of masses or bench" in text.replace("\n", " "), text
    assert "upthrust measure --rig %s" % scale in text.replace("\n", "") and '--name "My fin" --kind fin' in text, text
    assert ("\x1b[?1049h" in session.raw) == (term != "vt100")


def killed(number, key=None):
    session = Session(calibrate("killed-%d-%s" % (number, key is None)))
    session.wait("Hang the ballast")
    if key is None:
        os.kill(session.bench(), number)
    else:
        session.type(key)
    text = session.end()
    assert "status %d" % (128 + number) in text, text


def cautions():
    """They stand on the screen until Enter; q stops before a run is opened."""
    session = Session(calibrate("cautions"), cautions=False)
    session.wait("Press Enter to begin")
    text = session.screen.text()
    for words in ("Mains off", "laptop on its battery", "glass tank", "Wash your hands"):
        assert words in text, text
    assert "YOUR TURN" not in text
    session.type("q\n")
    text = session.end()
    assert "upthrust: stopped before anything was weighed" in text and "status 1" in text, text
    assert not os.listdir(work + "/cautions/runs"), "a run was opened"


def interrupted_cautions():
    session = Session(calibrate("cautions-c"), cautions=False)
    session.wait("Press Enter to begin")
    session.type("\x03")
    text = session.end()
    assert "status 130" in text, text


def stopped():
    session = Session(calibrate("stopped"), after="sleep 1; fg >/dev/null; echo \"status $?\"; echo \"after $(stty -g)\"")
    session.wait("Hang the ballast")
    os.kill(session.bench(), signal.SIGTSTP)
    session.wait("(?s)status 1[0-9]+.*after")
    assert not session.screen.hidden and session.screen.saved is None
    session.wait("Hang the ballast")
    session.type("q")
    session.wait("q: Enter stops")
    os.write(session.master, b"\n")
    text = session.end()
    assert re.search("upthrust: .*are too few", text.replace("\n", "")), text
    assert text.rstrip().endswith("shell over") and "status 1\n" in text, text


def too_soon():
    """Enter twice in a row answers one question, not two."""
    session = Session(calibrate("soon"))
    session.wait("Hang the ballast")
    session.type("\n\n\n")
    session.wait("heaviest mass|degrees C")
    time.sleep(0.6)
    while session.read(0.1):
        pass
    assert re.search("heaviest mass|degrees C", session.screen.text()), session.screen.text()
    session.type("\x03")
    session.end()


def resized():
    session = Session(calibrate("resized"))
    session.wait("Hang the ballast")
    for columns, rows, sign in ((60, 15, "too small: it needs 80x24"), (200, 60, "Enter: done"), (80, 24, "Enter: done"), (3, 1, "T"), (80, 24, "Enter: done")):
        session.screen.resize(columns, rows)
        session.size(columns, rows)
        session.wait(sign)
    session.type("\x03")
    session.end()


def grown():
    session = Session(calibrate("grown"))
    session.wait("Hang the ballast")
    session.size(32000, 32000)
    end = time.monotonic() + 1
    while time.monotonic() < end:
        session.read(0.1)
    status = open("/proc/%d/status" % session.bench()).read()
    peak_mib = int(re.search(r"VmHWM:\s*(\d+)", status).group(1)) / 1024
    assert peak_mib < 100, peak_mib
    for columns, rows in ((90, 30), (80, 24)):
        session.screen.resize(columns, rows)
        session.size(columns, rows)
        session.wait("(?s)Hang the ballast.*Enter: done")
    session.type("\x03")
    session.end()


def plain(reason, columns=80, rows=24, term="xterm", more=""):
    session = Session(calibrate("plain-%s-%d%s" % (term, columns, more), more), columns=columns, rows=rows, term=term)
    session.wait("Enter: done")
    text = " ".join(session.screen.text().split())
    assert reason in text and ">> Hang the ballast" in text, text
    assert "\x1b[?1049h" not in session.raw and "\x1b[H" not in session.raw
    session.type("q\n")
    assert "status 1" in session.end()


def no_terminal():
    done = subprocess.run(calibrate("pipe", "--operator keys").split(), stdin=subprocess.DEVNULL, capture_output=True, text=True)
    assert done.returncode == 1 and ">> Hang the ballast" in done.stderr and "\x1b" not in done.stderr


def with_tank(body, return_s):
    link = work + "/tank-%d" % return_s
    rig = link + ".ini"
    text = open(rigs + "/simulated.ini").read()
    text = re.sub("(?m)^path = .*", "path = %s\nreturn_s = %d" % (link, return_s), text)
    open(rig, "w").write(re.sub("(?m)^poll.*\n", "", text))
    process = subprocess.Popen([tank, "--pace", "20", "--link", link], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, bufsize=1)
    try:
        session = Session(calibrate("wired-%d" % return_s, rig=rig))
        session.wait("Hang the ballast")
        body(session, process)
    finally:
        process.kill()
        process.wait()
        if os.path.islink(link):
            os.unlink(link)


def act(session, process, sentence, deed):
    session.wait(sentence)
    process.stdin.write(deed + "\n")
    time.sleep(0.2)
    session.type("\n")


def readings(session, process):
    act(session, process, "Hang the ballast", "add-ballast")
    act(session, process, "heaviest mass.*: 2 kg", "hang-mass 2")
    session.wait("reading in")
    act(session, process, "leave only the ballast", "empty-in-water")
    act(session, process, ": 0.5 kg", "hang-mass 0.5")
    act(session, process, "leave only the ballast", "empty-in-water")
    session.wait("loadings: 1 of 3")
    session.wait(r"\+0.5 kg: \+\d{6}")
    process.kill()
    text = session.end()
    assert re.search("upthrust: the device is gone", text) and "status 1" in text, text


def pulled_out(session, process):
    process.kill()
    session.wait("The device is gone: check its cable")
    assert "YOUR TURN" not in session.screen.text()
    session.type("q\n")
    text = session.end()
    assert re.search("!! the device is gone.*waiting for", text.replace("\n", "")), text
    assert re.search("upthrust: ", text), text


def result_stays():
    """A typed session to its end: the result waits for a key, and is stored before."""
    catalogue = work + "/stays"
    answers = (("the ballast too", "0.18\n"), ("Hang the ballast", "\n"), ("degrees C", "20\n"), ("heaviest mass", "\n"), ("upper hook: 0.5 kg", "2.5\n"), ("upper hook: 1 kg", "3\n"),
               ("upper hook: 2 kg", "4\n"), ("dry, on the upper hook", "3.25\n"), ("Hang the item on the hanger", "2.35\n"),
               ("Unhook it under water", "2.35\n"), ("leave only the ballast|Take everything off the upper hook", "2\n"))

    def play(session, until):
        end = time.monotonic() + 90
        while not re.search(until, session.screen.text()):
            assert time.monotonic() < end, session.screen.text()
            while session.read(0.1):
                pass
            text = " ".join(session.screen.text().split())
            typed = [answer for pattern, answer in answers if re.search(pattern, text)]
            if "YOUR TURN" in text and typed:
                session.type(typed[0])
                time.sleep(0.5)  # until the next question is there
    session = Session(calibrate("stays"))
    play(session, "shell over")
    session.end()
    subprocess.run([bench, "item", "add", "--name", "Slate", "--kind", "lead", "--catalogue", catalogue], check=True, capture_output=True)
    session = Session("%s measure --rig %s --item Slate --trials 2 --catalogue %s" % (bench, scale, catalogue))
    play(session, "Stored. Press any key to continue")
    text = session.screen.text()
    assert re.search(r"fresh -3[0-9]{2}\.[0-9] g \+- [0-9.]+ g: negative", text) and "any key: continue" in text and "shell over" not in text, text
    shown = subprocess.run([bench, "show", "Slate", "--catalogue", catalogue], check=True, capture_output=True, text=True).stdout
    assert "negative" in shown, shown
    time.sleep(0.5)
    assert not re.search("shell over", session.screen.text())
    session.type("x")
    text = session.end()
    # Printed once more: large, each water in one row, what they share once.
    assert "status 0" in text and len(re.findall("(tank|fresh|sea) .*negative: sinks", text)) == 3, text
    assert "\u2588   \u2588 \u2588\u2588\u2588\u2588" in text and text.count("this one piece, not the model") == 1 and text.count("compare, do not") == 1, text


CASES = [
    ("cautions, and q", cautions),
    ("Ctrl-C at the cautions", interrupted_cautions),
    ("the result stays until a key", result_stays),
    ("a whole session on xterm", lambda: whole_session("xterm", "C.UTF-8")),
    ("a whole session on vt100 without UTF-8", lambda: whole_session("vt100", "C")),
    ("Ctrl-C", lambda: killed(signal.SIGINT, "\x03")),
    ("SIGINT", lambda: killed(signal.SIGINT)),
    ("SIGTERM", lambda: killed(signal.SIGTERM)),
    ("SIGHUP", lambda: killed(signal.SIGHUP)),
    ("SIGQUIT", lambda: killed(signal.SIGQUIT)),
    ("SIGABRT, as when there is no memory left", lambda: killed(signal.SIGABRT)),
    ("stopped and gone on, then q", stopped),
    ("Enter pressed too often", too_soon),
    ("resized", resized),
    ("too small a terminal", lambda: plain("note: the terminal has 79x24 cells and needs 80x24", 79, 24)),
    ("too large a terminal", lambda: plain("note: the terminal has 1001x24 cells and needs at most 1000x500", 1001, 24)),
    ("a terminal that grows beyond all bounds", grown),
    ("a dumb terminal", lambda: plain("cannot show the live screen", term="dumb")),
    ("an unknown terminal", lambda: plain("cannot show the live screen", term="none-such")),
    ("--plain", lambda: plain(">>", more="--plain")),
    ("no terminal", no_terminal),
    ("readings and a failure", lambda: with_tank(readings, 0)),
    ("the device is away", lambda: with_tank(pulled_out, 30)),
]

# They wait most of the time.
with concurrent.futures.ThreadPoolExecutor(4) as pool:
    outcomes = list(pool.map(outcome, [body for _, body in CASES]))
for number, ((name, _), why) in enumerate(zip(CASES, outcomes), 1):
    print("%sok %d - %s" % ("not " if why else "", number, name))
    if why:
        print("# " + why.replace("\n", "\n# "))
print("1..%d" % len(CASES))
sys.exit(any(outcomes))
