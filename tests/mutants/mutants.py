#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Wrong edits, one at a time: does a quick test notice?

Each *.toml beside this file lists edits. `in` is the file or folder where the text `from` stands
exactly once (white space does not count), `to` takes its place, `why` says what is wrong then. An edit
that cannot change any result has the algebra in `equivalent`; at most three may.

Each edit is made in a copy of the tree under build/mutants/, never in the work tree; only the changed
file is compiled and the library linked, which the tests share, and the quick tests run until the first
one fails, those of the edited folder first. Ends with "N caught, N survived", and with 1 where one survived, its text does not stand
there once, it does not compile, an edit called equivalent was caught, or a test fails without any edit."""
import argparse, hashlib, os, queue, re, resource, shutil, signal, subprocess, sys, threading, time, tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
OUT = "build/release"
SHARED = f"{OUT}/shared"
EQUIVALENT_MOST = 3
TEST_MOST_S, MEMORY_MOST, FILE_MOST = 120, 6 << 30, 2 << 30
# Whose tests come first where a folder's own do not notice: those that use it most.
NEXT = ["metrology", "bench", "reference", "catalogue", "keep", "session", "report", "wire"]


class Mutant:
    def __init__(self, group, name, entry):
        self.group, self.name = group, name
        self.place, self.old, self.new, self.why = (entry[k] for k in ("in", "from", "to", "why"))
        self.equivalent = entry.get("equivalent")

    def pattern(self):
        """The text with any white space between its words and marks."""
        parts = re.findall(r"\w+|[^\w\s]", self.old)
        pattern = re.escape(parts[0])
        for before, after in zip(parts, parts[1:]):
            words = re.match(r"\w", before) and re.match(r"\w", after)
            pattern += (r"\s+" if words else r"\s*") + re.escape(after)
        begin = r"\b" if re.match(r"\w", parts[0]) else ""
        end = r"\b" if re.match(r"\w", parts[-1]) else ""
        return re.compile(begin + pattern + end)

    def find(self, root):
        """(file, its text with the edit made), or the reason why it cannot be made."""
        place = root / self.place
        files = sorted(place.glob("*.[ch]")) if place.is_dir() else [place] if place.exists() else []
        pattern, found = self.pattern(), []
        for file in files:
            text = file.read_text()
            found += [(file, text, match) for match in pattern.finditer(text)]
        if len(found) != 1:
            return None, f"its text stands {len(found)} times in {self.place}"
        file, text, match = found[0]
        return file.relative_to(root), text[: match.start()] + self.new + text[match.end() :]


def load():
    mutants = []
    for file in sorted(HERE.glob("*.toml")):
        with open(file, "rb") as stream:
            mutants += [Mutant(file.stem, name, entry) for name, entry in tomllib.load(stream).items()]
    names = [m.name for m in mutants]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        sys.exit(f"mutants: {', '.join(twice)}: each name may stand once")
    if sum(m.equivalent is not None for m in mutants) > EQUIVALENT_MOST:
        sys.exit(f"mutants: at most {EQUIVALENT_MOST} may be called equivalent")
    return mutants


def choose(mutants, names, sample, key):
    if names:
        unknown = sorted(set(names) - {m.name for m in mutants} - {m.group for m in mutants})
        if unknown:
            sys.exit(f"mutants: no edit or group is called {', '.join(unknown)}: --list shows all")
        mutants = [m for m in mutants if m.name in names or m.group in names]
    if sample:
        drawn = sorted(mutants, key=lambda m: hashlib.sha256(f"{key} {m.name}".encode()).digest())
        mutants = drawn[:sample]
    return mutants


# ---- building and running ----

def tests_for(root, source):
    """Quick tests: those of the folder first, in it those that share words with the file's name."""
    folder, words = source.parent.name, set(source.stem.split("_"))
    order = [folder] + [f for f in NEXT if f != folder]

    def rank(test):
        place = order.index(test.parent.name) if test.parent.name in order else len(order)
        alike = len(words & set(test.stem.split("_")[:-1]))
        return place, -alike, test.name

    tests = [t.relative_to(root) for t in root.glob("tests/*/*_test.c") if t.parent.name != "truth"]
    return [f"{SHARED}/{t.with_suffix('')}" for t in sorted(tests, key=rank)]


def limits():
    signal.signal(signal.SIGHUP, signal.SIG_DFL)  # whoever runs this under nohup
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_MOST, MEMORY_MOST))
    resource.setrlimit(resource.RLIMIT_FSIZE, (FILE_MOST, FILE_MOST))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def passes(root, test):
    """An edit may make a test wait for ever, or leave children behind: its whole group is ended."""
    process = subprocess.Popen([root / test], cwd=root, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               stdin=subprocess.DEVNULL, start_new_session=True, preexec_fn=limits)
    try:
        return process.wait(TEST_MOST_S) == 0
    except subprocess.TimeoutExpired:
        return False
    finally:
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        process.wait()


def build(root):
    done = subprocess.run(["make", "-s", f"{SHARED}/libupthrust.so"], cwd=root, capture_output=True, text=True)
    return None if done.returncode == 0 else (done.stderr.strip() or "make").splitlines()[0]


class Sound:
    """Whether a test passes without any edit: one that fails anyway catches nothing."""

    def __init__(self):
        self.known, self.lock = {}, threading.Lock()

    def passes(self, test):
        with self.lock:
            if test not in self.known:
                self.known[test] = passes(ROOT, test) or passes(ROOT, test)
            return self.known[test]

    def failing(self):
        return [test.removeprefix(SHARED + "/") for test, good in self.known.items() if not good]


def kill_or_survive(root, source, sound):
    wrong = build(root)
    if wrong is not None:
        return "broken", "does not compile: " + wrong
    for test in tests_for(root, source):
        if not passes(root, test) and not passes(root, test):  # once may be the machine's fault
            if sound.passes(test):
                return "caught", "by " + test.removeprefix(SHARED + "/")
    return "survived", ""


def try_one(root, mutant, sound):
    source, text = mutant.find(root)
    if source is None:
        return "broken", text
    file, built = root / source, root / OUT / source.with_suffix(".o")
    kept = {path: (path.read_bytes(), path.stat()) for path in (file, built) if path.exists()}
    try:
        file.write_text(text)
        return kill_or_survive(root, source, sound)
    finally:  # text and object as they were, times too: the next edit compiles its own file only
        for path, (content, about) in kept.items():
            path.write_bytes(content)
            os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))


def copy_tree(root):
    """With times, so that nothing is compiled anew; of the build only objects and what runs them."""
    def leave(folder, names):
        at = Path(folder).relative_to(ROOT).parts
        if not at:
            return [n for n in names if n in (".git", "demo")]
        if at == ("build",):
            return [n for n in names if n != "release"]
        plain = at[:2] == ("build", "release") and at[2:3] != ("shared",)
        return [n for n in names if plain and not Path(n).suffix and not (Path(folder) / n).is_dir()]
    shutil.rmtree(root, ignore_errors=True)
    shutil.copytree(ROOT, root, ignore=leave, symlinks=True)


def work(number, todo, report, sound):
    root = ROOT / "build" / "mutants" / str(number)
    copy_tree(root)
    while True:
        try:
            mutant = todo.get_nowait()
        except queue.Empty:
            return
        begun = time.monotonic()
        report(mutant, *try_one(root, mutant, sound), time.monotonic() - begun)


def run(mutants, workers):
    counts, wrong, lock = {"caught": 0, "survived": 0, "broken": 0}, [], threading.Lock()
    todo, sound = queue.Queue(), Sound()

    def report(mutant, verdict, detail, took_s):
        with lock:
            counts[verdict] += 1
            expected = "survived" if mutant.equivalent is not None else "caught"
            if verdict == "survived" and mutant.equivalent is not None:
                counts["survived"] -= 1
                verdict = "equivalent"
            elif verdict != expected:
                wrong.append(mutant)
            print(f"{verdict:10} {mutant.name:42} {took_s:5.1f} s  {detail}", flush=True)

    for mutant in mutants:
        todo.put(mutant)
    threads = [threading.Thread(target=work, args=(i, todo, report, sound)) for i in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for mutant in wrong:
        print(f"\n{mutant.name}, in {mutant.place}\n  - {mutant.old.strip()}\n  + {mutant.new.strip()}\n"
              f"  wrong: {mutant.why.strip()}" + ("\n  called equivalent" if mutant.equivalent else ""))
    for test in sound.failing():
        print(f"\n{test} fails without any edit, and so catches none")
    return counts, not wrong and not sound.failing()


def check(mutants):
    """TAP: each text stands where it should; builds nothing."""
    bad = 0
    for number, mutant in enumerate(mutants, 1):
        source, text = mutant.find(ROOT)
        bad += source is None
        print(f"{'ok' if source else 'not ok'} {number} - {mutant.name}" + ("" if source else f": {text}"))
    print(f"1..{len(mutants)}")
    return bad == 0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help="edits or groups; none: all")
    parser.add_argument("--sample", type=int, default=0, help="so many of them, drawn by --key")
    parser.add_argument("--key", default="", help="such as a commit's hash: the same key, the same sample")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--list", action="store_true", help="print names and reasons, run nothing")
    parser.add_argument("--check", action="store_true", help="only look whether each text stands once")
    asked = parser.parse_args()
    mutants = choose(load(), asked.names, asked.sample, asked.key)
    if asked.list:
        for mutant in mutants:
            print(f"{mutant.group:12} {mutant.name:42} {mutant.why.strip()}")
        return 0
    if asked.check:
        return 0 if check(mutants) else 1
    begun = time.monotonic()
    counts, good = run(mutants, max(1, min(asked.workers, len(mutants))))
    print(f"\n{len(mutants)} edits in {(time.monotonic() - begun) / 60:.1f} min; {counts['broken']} could not be made")
    print(f"{counts['caught']} caught, {counts['survived']} survived")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
