#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Wrong edits of the firmware, one at a time: does its test in the simulator notice? Prints TAP.

  mutants.py build/release [NAME...]    makes the edits of mutants.toml, or those that are named
  mutants.py --check                    only whether each can be made

As in tests/mutants/, `from` must stand once in the file or folder `in`. `parts` names the parts of check.c that
run on the edited image, one after the other, until one fails. Each edit is made in a copy of the firmware, never here.
"""
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tests/mutants"))
from mutants import Mutant  # noqa: E402

IMAGE = "build/firmware/atmega328p.elf"
PART_MOST_S, CONVERSIONS = 120, "3200"
PARTS = set(re.findall(r'\{"([a-z-]+)", [a-z_]+\}', (ROOT / "tests/firmware/check.c").read_text()))


def load():
    with open(ROOT / "tests/firmware/mutants.toml", "rb") as stream:
        entries = tomllib.load(stream)
    return [(Mutant("firmware", name, entry), entry["parts"]) for name, entry in entries.items()]


def check(mutants):
    wrong = [f"{m.name}: {m.find(ROOT)[1]}" for m, _ in mutants if m.find(ROOT)[0] is None]
    wrong += [f"{m.name}: no part is called {part}" for m, parts in mutants for part in parts if part not in PARTS]
    sys.exit("\n".join(wrong) if wrong else 0)


def build(copy):
    done = subprocess.run(["make", "-s", IMAGE], cwd=copy, capture_output=True, text=True)
    return None if done.returncode == 0 else (done.stderr.strip() or "make").splitlines()[0]


def passes(checker, copy, part):
    try:
        done = subprocess.run([checker, IMAGE, IMAGE, CONVERSIONS, part], cwd=copy, capture_output=True,
                              stdin=subprocess.DEVNULL, timeout=PART_MOST_S)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def outcome(checker, copy, mutant, parts):
    """Which part fails; None where none does."""
    place, text = mutant.find(copy)
    original = (copy / place).read_text()
    (copy / place).write_text(text)
    try:
        wrong = build(copy)
        if wrong is not None:
            return None, "does not compile: " + wrong
        caught = next((part for part in parts if not passes(checker, copy, part)), None)
        return caught, f"caught by {caught}" if caught else "survived: " + mutant.why
    finally:
        (copy / place).write_text(original)


def main():
    mutants = load()
    if sys.argv[1:] == ["--check"]:
        check(mutants)
    checker, names = Path(sys.argv[1]).resolve() / "tests/firmware/check", sys.argv[2:]
    chosen = [(m, parts) for m, parts in mutants if not names or m.name in names]
    number = failed = 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        shutil.copy(ROOT / "Makefile", copy)
        shutil.copytree(ROOT / "rigs", copy / "rigs")
        sound = build(copy) is None
        for part in sorted({part for _, parts in chosen for part in parts}):
            number, good = number + 1, sound and passes(checker, copy, part)
            failed += not good
            print(f"{'ok' if good else 'not ok'} {number} - without an edit {part} passes", flush=True)
        for mutant, parts in chosen:
            number += 1
            caught, said = outcome(checker, copy, mutant, parts)
            failed += caught is None
            print(f"{'ok' if caught else 'not ok'} {number} - {mutant.name}: {said}", flush=True)
    sys.exit(failed > 0 or not chosen)


if __name__ == "__main__":
    main()
