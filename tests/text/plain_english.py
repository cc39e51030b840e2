#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Every text that people read against plain_english.txt: the strings of the program (as gettext's extractor
finds them), the man page, README.md, the pages and comments beside the rig files, the words of pictures.
Prints TAP. With a file as second argument it is read instead, as a page."""
import os
import re
import shutil
import subprocess
import sys

here = os.path.dirname(os.path.abspath(__file__))
root = os.path.normpath(here + "/../..")
program = sys.argv[1]
SQL = re.compile(r"\s*(\)|AND|OR|SELECT|INSERT|CREATE|UPDATE|DELETE|DROP|PRAGMA|CASE|EXISTS|WITH|PARTITION|FROM|BEGIN|SAVEPOINT|RELEASE)\b")


def patterns():
    found = []
    for number, line in enumerate(open(here + "/plain_english.txt"), 1):
        line = line.rstrip("\n")
        if line and not line.startswith("#"):
            turn, arrow, better = line.partition(" => ")
            assert arrow and better, "plain_english.txt, line %d: no ' => ' and better words" % number
            found.append((re.compile(turn.strip(), re.I), better))
    return found


def sources(*kinds):
    for folder in ("firmware-host", "include", "rigs"):
        for path, _, names in sorted(os.walk(os.path.join(root, folder))):
            for name in sorted(names):
                if name.endswith(kinds):
                    yield os.path.relpath(os.path.join(path, name), root)


def strings():
    """(where, text) of each string of two words or more."""
    files = list(sources(".c", ".h"))
    po = subprocess.run(["xgettext", "-a", "--no-wrap", "--language=C", "--from-code=UTF-8", "-o", "-", *files],
                        cwd=root, capture_output=True, text=True).stdout
    for block in po.split("\n\n"):
        where = re.search(r"^#: (\S+)", block, re.M)
        text = re.search(r'^msgid ((?:".*"\n?)+)', block, re.M)
        text = "".join(re.findall(r'"(.*)"', text.group(1))) if text else ""
        text = text.replace("\\n", "\n").replace('\\"', '"')
        if where and re.search(r"[a-z]\S* +\S*[a-z(%]", text, re.I) and not SQL.match(text):
            yield where.group(1), text


def page(name, text):
    """Paragraphs of a page, without code."""
    text = re.sub(r"(?ms)^ *```.*?^ *```", "", text)
    text = re.sub(r"`[^`]*`", "`code`", text)
    for paragraph in re.split(r"\n\s*\n|\n(?=\||- |[0-9]\. )", text):
        yield name, " ".join(paragraph.split())


def comments(name, sign):
    text = open(os.path.join(root, name)).read()
    blocks = re.findall(r"(?m)(?:^ *%s.*\n?)+" % re.escape(sign), text)
    return [(name, " ".join(re.sub(r"(?m)^ *%s ?" % re.escape(sign), "", block).split())) for block in blocks]


def quoted(name):
    text = "\n".join(line for line in open(os.path.join(root, name)) if not line.startswith("#"))
    return [(name, words) for words in re.findall(r'"([^"\n]* [^"\n]*)"', text)]


def man_pages():
    man = subprocess.run([program, "--print", "man"], capture_output=True, text=True, check=True).stdout
    man = re.sub(r"(?m)^\.nf\n(.*\n)*?\.fi$", "", man)
    man = re.sub(r"\\f[BIR]|^\.(TP|PP|RS|RE|B|I)\b", "", man, flags=re.M).replace("\\-", "-")
    return [("man page", line) for line in man.splitlines()]


def read(name):
    return open(os.path.join(root, name)).read()


def check(label, texts, turns):
    texts = list(texts)
    bad = []
    for where, text in texts:
        flat = " ".join(text.split())
        for turn, better in turns:
            match = turn.search(flat)
            if match:
                bad.append('# %s: "%s": write %s, in: %s' % (where, match.group(0), better, flat[:200]))
    print("%s - %s: %d texts" % ("not ok" if bad or not texts else "ok", label, len(texts)))
    print("\n".join(bad), end="\n" if bad else "")


def main():
    turns = patterns()
    if len(sys.argv) > 2:
        return check("a page", page(sys.argv[2], open(sys.argv[2]).read()), turns)
    if shutil.which("xgettext"):
        check("strings of the program", strings(), turns)
    elif os.environ.get("CI"):
        print("not ok - strings of the program: there is no xgettext: install the package gettext")
    else:
        print("ok - strings of the program # SKIP no xgettext: install the package gettext")
    check("man page", man_pages(), turns)
    check("README", page("README.md", read("README.md")), turns)
    pages = [name for name in sources(".md") if name.startswith("rigs/")]
    check("pages of the rigs", [text for name in pages for text in page(name, read(name))], turns)
    check("comments of rig files", [text for name in sources(".ini") for text in comments(name, ";")], turns)
    plots = sorted("plots/" + name for name in os.listdir(root + "/plots"))
    check("words of pictures", [text for name in plots for text in quoted(name)], turns)
    return None


main()
