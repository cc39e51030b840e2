#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Times whole programs, median of three, and prints ratios against a peer of the same run."""
import json
import os
import random
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time

build = sys.argv[1]
work = tempfile.mkdtemp()
LINES = 1_000_000
LONG_BYTES = 200_000_000
capture = work + "/capture"
rig = work + "/rig.ini"

open(rig, "w").write("""[rig]
id = bench
[line]
layout = fields
separator = comma
time_field = 1
time_unit = ms
load_field = 2
temp_field = 3
word_bits = 24
""")


def make_capture():
    rng = random.Random(1)
    with open(capture, "w") as out:
        for i in range(LINES):
            level = 100000 * ((i // 20000) % 5)
            out.write("%d,%d,21.5\n" % (100 * i, level + rng.gauss(0, 60)))


def make_long(name, size):
    """The capture over and over, its clock going on; a tenth of it is the short one."""
    with open(name, "w") as out:
        span, written, turn = 100 * LINES, 0, 0
        while written < size:
            for line in open(capture):
                time_ms, _, rest = line.partition(",")
                written += out.write("%d,%s" % (turn * span + int(time_ms), rest))
                if written >= size:
                    break
            turn += 1


# A child begins with the peak of the program that starts it, so that one must be small.
PEAK = """
#include <stdio.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
int main(int argc, char **argv) {
    struct rusage usage;
    int status;
    pid_t child = fork();
    if (argc > 1 && child == 0) execv(argv[1], argv + 1);
    if (wait4(child, &status, 0, &usage) != child || status != 0) return 1;
    fprintf(stderr, "%ld", usage.ru_maxrss);
}
"""


def peak_kib(command):
    source = work + "/peak.c"
    open(source, "w").write(PEAK)
    subprocess.run(["cc", "-std=c17", "-D_DEFAULT_SOURCE", "-o", work + "/peak", source], check=True)
    run = subprocess.run([work + "/peak"] + command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=True)
    return int(run.stderr)


def memory_row():
    peak = []
    for size in LONG_BYTES // 10, LONG_BYTES:
        make_long(work + "/long", size)
        peak.append(peak_kib([build + "/upthrust", "listen", "--rig", rig, "--replay", work + "/long"]))
    os.remove(work + "/long")
    flat = "as with a tenth of it" if peak[1] - peak[0] < 1024 else "NOT FLAT"
    row("listen, peak memory over 200 MB", "%.1f" % (peak[1] / 1024), "MiB", "%s: %.1f MiB" % (flat, peak[0] / 1024))


def seconds(command, **how):
    times = []
    for _ in range(3):
        begin = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False, **how)
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


AWK = "{ n++; s += $2; q += $2 * $2; d = $2 - p; if (d < 0) d = -d; t += d; p = $2 } END { print n, s / n, q / n, t / n }"
PYTHON = """
import csv, sys
n = s = q = t = p = 0
for row in csv.reader(open(sys.argv[1])):
    v = float(row[1]); n += 1; s += v; q += v * v; t += abs(v - p); p = v
print(n, s / n, q / n, t / n)
"""


def row(what, value, unit, ratio=""):
    print("%-52s %12s %-10s %s" % (what, value, unit, ratio))


make_capture()
ours = seconds([build + "/upthrust", "listen", "--rig", rig, "--replay", capture])
awk = seconds(["awk", "-F,", AWK, capture])
python = seconds([sys.executable, "-c", PYTHON, capture])
print("%-52s %12s %-10s %s" % ("what", "figure", "unit", "ratio in this run"))
row("listen, all checks on (1e6 lines)", "%.0f" % (LINES / ours), "lines/s")
row("  awk: mean, square, difference of the same file", "%.0f" % (LINES / awk), "lines/s", "listen is %.2f times as fast" % (awk / ours))
row("  python csv: the same", "%.0f" % (LINES / python), "lines/s", "listen is %.2f times as fast" % (python / ours))
memory_row()
demo = seconds([build + "/upthrust", "demo", "--dir", work + "/demo", "--json"])
row("demo: one session of 14 items, drawn and stored", "%.2f" % demo, "s")

NUMPY_DRAWS = 1_000_000
NUMPY = "/usr/bin/python3"


def monte_carlo_rows():
    """The model that a demonstration's result holds, a million draws: ours and NumPy's, of the same terms."""
    if subprocess.run([NUMPY, "-c", "import numpy"], stderr=subprocess.DEVNULL).returncode != 0:
        return
    where = os.path.dirname(os.path.abspath(sys.argv[0]))
    told = subprocess.run([build + "/upthrust", "explain", "Heron fin", "--water", "sea", "--json", "--catalogue",
                           work + "/demo/catalogue"], capture_output=True, check=True, text=True).stdout
    open(work + "/explained.json", "w").write(told)
    terms = [line for line in json.loads(told)["result"]["budget"] if line["u"] > 0]
    subprocess.run(["cc", "-O2", "-std=c17", "-D_DEFAULT_SOURCE", "-Iinclude", "-o", work + "/draws", where + "/draws.c",
                    build + "/libupthrust.a", "-ljansson", "-lsqlite3", "-lhogweed", "-lnettle", "-lgmp", "-luuid", "-lgsl", "-lgslcblas", "-lm"],
                   check=True)
    both = []
    for command in [work + "/draws"], [NUMPY, where + "/draws.py"]:
        runs = [subprocess.run(command + [work + "/explained.json", str(NUMPY_DRAWS)], capture_output=True, check=True,
                               text=True).stdout.split() for _ in range(3)]
        both.append([statistics.median(float(run[i]) for run in runs) for i in range(2)])
    (ours, our_u), (theirs, their_u) = both
    same = "+- %.3f g both" % our_u if abs(our_u / their_u - 1) < 0.005 else "NOT THE SAME: %g and %g g" % (our_u, their_u)
    row("Monte Carlo, 1e6 draws of %d terms, intervals" % len(terms), "%.0f" % (ours * 1e3), "ms", same)
    row("  numpy, the same model in columns", "%.0f" % (theirs * 1e3), "ms", "ours is %.2f times as fast" % (theirs / ours))


monte_carlo_rows()

RESULTS = int(os.environ.get("UPTHRUST_BENCH_RESULTS", "20000"))
LARGE = work + "/demo/catalogue"
SMALL = work + "/small/catalogue"


def file_bytes(where):
    """Of the database alone, its log written back."""
    with sqlite3.connect(where + "/catalogue.sqlite") as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    return os.path.getsize(where + "/catalogue.sqlite")


def grow():
    """The demonstration's catalogue where it lies, made large: its calibration stays trusted. Beside it a small one."""
    subprocess.run([build + "/upthrust", "demo", "--dir", work + "/small", "--json"], capture_output=True)
    before = file_bytes(LARGE)
    begin = time.perf_counter()
    subprocess.run([build + "/tests/speed/grow", LARGE, str(RESULTS)], check=True)
    took = time.perf_counter() - begin
    row("catalogue made large: %d results" % RESULTS, "%.0f" % (RESULTS / took), "results/s", "each with its decision")
    row("  a result, with its decision and share of a run", "%.0f" % ((file_bytes(LARGE) - before) / RESULTS), "bytes")


def asked(question):
    """The first column of the first row, of the large catalogue."""
    return subprocess.run(["sqlite3", "-readonly", LARGE + "/catalogue.sqlite", question],
                          capture_output=True, check=True, text=True).stdout.strip()


def milliseconds(command):
    """Nobody answers: `measure` ends where its port is opened, when it has read what it needs."""
    return 1e3 * seconds([build + "/upthrust"] + command, stdin=subprocess.DEVNULL)


def page_rows():
    nothing = milliseconds(["--version"])
    last = asked("SELECT name FROM typed_item ORDER BY record DESC LIMIT 1")
    word = last.split()[0].lower()
    measure = ["measure", "--rig", work + "/demo/rig.ini", "--port", work + "/no-such-port", "--operator", "keys", "--item"]
    for what, large, small in (
            ("show of one item", ["show", last], ["show", "Heron fin"]),
            ("item list --limit 50 --kind fin", ["item", "list", "--limit", "50", "--kind", "fin"], None),
            ("item list --limit 50, by words", ["item", "list", "--limit", "50", word], None),
            ("measure, up to its port", measure + [last], measure + ["Heron fin"])):
        both = [milliseconds(command + ["--catalogue", where]) - nothing
                for command, where in ((large, LARGE), (small or large, SMALL))]
        row("%s" % what, "%.0f" % both[0], "ms", "%.1f times as in a small catalogue (%.0f ms)" % (both[0] / both[1], both[1]))


def export_rows():
    where = ["--catalogue", LARGE]
    shell = ["sqlite3", "-readonly", LARGE + "/catalogue.sqlite"]
    tables = "result item decision trial run calibration rig reference reference_check writer".split()
    rows = [
        ("export --format csv", ["export", "--format", "csv", "--to", work + "/x"] + where,
         shell + ["-csv", "-header", " ".join("SELECT * FROM %s;" % table for table in tables)]),
        ("export --format json, all versions", ["export", "--format", "json", "--to", work + "/x"] + where,
         shell + ["SELECT json_object('id', r.id, 'subject', subject, 'body', json(r.body), 'detail', json(d.body), 'envelope', envelope,"
                  " 'signature', signature) FROM record AS r JOIN signed AS s USING (id, sha256) LEFT JOIN detail AS d USING (sha256);"]),
        ("item list --json", ["item", "list", "--json"] + where, shell + ["-json", "SELECT * FROM item;"]),
    ]
    for what, command, peer in rows:
        shutil.rmtree(work + "/x", ignore_errors=True)
        ours, theirs = seconds([build + "/upthrust"] + command), seconds(peer)
        row("%s (%d results)" % (what, RESULTS), "%.2f" % ours, "s")
        row("  sqlite3 shell, the same rows", "%.2f" % theirs, "s", "ours takes %.2f times as long" % (ours / theirs))


TAKE_OVER = """
CREATE TEMP TABLE lines (line TEXT);
.mode ascii
.separator "\\037" "\\n"
.import %s/lines lines
BEGIN;
INSERT INTO record SELECT json_extract(line, '$[0]'), json_extract(line, '$[1]'), json_extract(line, '$[2]'), json_extract(line, '$[3]'),
 json_extract(line, '$[4]'), json_extract(line, '$[5]'), json_extract(line, '$[6]') FROM lines;
INSERT INTO signed SELECT json_extract(line, '$[0]'), json_extract(line, '$[1]'), json_extract(line, '$[7]'), json_extract(line, '$[8]'),
 json_extract(line, '$[9]'), json_extract(line, '$[10]') FROM lines;
INSERT INTO detail SELECT json_extract(line, '$[1]'), json_extract(line, '$[11]') FROM lines WHERE json_extract(line, '$[11]') IS NOT NULL
 ON CONFLICT DO NOTHING;
INSERT INTO newest SELECT kind, subject, rowid FROM record WHERE true ON CONFLICT DO NOTHING;
%s
INSERT INTO item_words(rowid, words) SELECT record, folded_name FROM typed_item;
COMMIT;
"""


def typed_rows():
    """INSERTs that fill the tables of the kinds that are many, of the facts."""
    sql = ""
    with sqlite3.connect("file:%s/catalogue.sqlite?mode=ro" % LARGE, uri=True) as database:
        for kind in "item", "result", "decision", "trial", "run":
            columns = [line[1] for line in database.execute("PRAGMA table_info(typed_%s)" % kind)]
            own = {"record": "rowid", "subject": "subject", "made_utc": "made_utc", "bench": "bench", "look": "json_extract(body, '$.name')"}
            said = [own.get(c) or ("lower(json_extract(body, '$.%s'))" % c[7:] if c.startswith("folded_") else "json_extract(body, '$.%s')" % c)
                    for c in columns]
            sql += "INSERT INTO typed_%s SELECT %s FROM record WHERE kind = '%s';\n" % (kind, ", ".join(said), kind)
    database.close()
    return sql


def merge_rows():
    """Beside it the shell takes the same records, of a file of lines, into the same tables and indices in one transaction."""
    with sqlite3.connect("file:%s/catalogue.sqlite?mode=ro" % LARGE, uri=True) as database, open(work + "/lines", "w") as lines:
        for record in database.execute(
                "SELECT r.id, sha256, kind, subject, bench, made_utc, r.body, writer, sequence, envelope, signature, d.body FROM record AS r"
                " JOIN signed AS s USING (id, sha256) LEFT JOIN detail AS d USING (sha256) ORDER BY r.rowid"):
            lines.write(json.dumps(record, separators=(",", ":")) + "\n")
    database.close()
    begin = time.perf_counter()
    peak = peak_kib([build + "/upthrust", "merge", LARGE, "--catalogue", work + "/merged"])
    ours = time.perf_counter() - begin
    shutil.copytree(work + "/merged", work + "/peer")
    with sqlite3.connect(work + "/peer/catalogue.sqlite") as database:
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%stays'").fetchall():
            database.execute("DROP TRIGGER " + name)
        kinds = [name for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name GLOB 'typed_*'")]
        for table in ["record", "replaces", "signed", "detail", "newest", "item_words", "local_mark", "contested"] + kinds:
            database.execute("DELETE FROM " + table)
    database.execute("VACUUM")
    database.close()
    begin = time.perf_counter()
    subprocess.run(["sqlite3", "-bail", work + "/peer/catalogue.sqlite"], input=TAKE_OVER % (work, typed_rows()), text=True, check=True,
                   stdout=subprocess.DEVNULL)
    theirs = time.perf_counter() - begin
    records = int(asked("SELECT count(*) FROM record"))
    row("merge of the large catalogue into an empty one", "%.0f" % (records / ours), "records/s", "each signature verified")
    row("  sqlite3 shell: .import, json_extract, the same tables", "%.0f" % (records / theirs), "records/s",
        "merge is %.2f times as fast" % (theirs / ours))
    row("  merge, peak memory", "%.1f" % (peak / 1024), "MiB", "within 64 MiB" if peak <= 64 * 1024 else "MORE THAN 64 MiB")


def sessions_row():
    test = build + "/tests/truth/coverage_test"
    if os.access(test, os.X_OK):
        sessions = 10
        took = seconds([test], env=dict(os.environ, UPTHRUST_TRUTH_SEEDS=str(sessions)))
        row("sessions simulated: calibrated, all gear measured", "%.1f" % (sessions / took), "1/s")


grow()
page_rows()
export_rows()
merge_rows()
sessions_row()

if shutil.which("/usr/bin/python3") and subprocess.run(["/usr/bin/python3", "-c", "import gsw"], stderr=subprocess.DEVNULL).returncode == 0:
    gsw = subprocess.run(["/usr/bin/python3", "-c", """
import gsw, numpy, time
s = numpy.linspace(0, 42, 1000000); t = numpy.linspace(0, 40, 1000000)
gsw.rho_t_exact(s, t, 10.0)
b = time.perf_counter(); gsw.rho_t_exact(s, t, 10.0); print(1e6 / (time.perf_counter() - b))
"""], capture_output=True, text=True).stdout
    source = work + "/density.c"
    open(source, "w").write("""
#include <stdio.h>
#include <time.h>
#include "upthrust/water.h"
int main(void) {
    struct timespec a, b; double sum = 0;
    clock_gettime(CLOCK_MONOTONIC, &a);
    for (int i = 0; i < 1000000; i++) sum += up_water_sea_kg_m3(42e-6 * i, 40e-6 * i, 1e5);
    clock_gettime(CLOCK_MONOTONIC, &b);
    fprintf(stderr, "%g", sum);
    printf("%.0f", 1e6 / ((b.tv_sec - a.tv_sec) + 1e-9 * (b.tv_nsec - a.tv_nsec)));
}
""")
    subprocess.run(["cc", "-O2", "-std=c17", "-D_DEFAULT_SOURCE", "-D_XOPEN_SOURCE=700", "-Iinclude", "-o", work + "/density", source, build + "/libupthrust.a", "-lgsl", "-lgslcblas", "-lm"], check=True)
    own = float(subprocess.run([work + "/density"], capture_output=True, text=True).stdout)
    row("sea water density, exact Gibbs function", "%.0f" % own, "1/s")
    row("  gsw.rho_t_exact, vector call", "%.0f" % float(gsw), "1/s", "ours is %.2f times as fast" % (own / float(gsw)))


def soak():
    """A week at the bench; UPTHRUST_SOAK_DAYS says how long else. False where something leaked or was lost."""
    text = open(os.path.dirname(os.path.abspath(__file__)) + "/../../rigs/simulated.ini").read()
    for old, new in (("more 10", "more 120"), ("poll_lines = 10", "poll_lines = 120"), ("read_after_s = 20", "read_after_s = 10"),
                     ("window_s = 8", "window_s = 4")):
        assert old in text, old
        text = text.replace(old, new)
    open(work + "/soak.ini", "w").write(text)
    # Syncing thousands of runs to a disk is a test of the disk.
    memory = tempfile.mkdtemp(dir="/dev/shm" if os.path.isdir("/dev/shm") else None)
    sys.stdout.flush()
    done = subprocess.run([build + "/tests/speed/soak", memory + "/catalogue", work + "/soak.ini",
                           os.environ.get("UPTHRUST_SOAK_DAYS", "7")])
    shutil.rmtree(memory)
    return done.returncode == 0


good = soak()
shutil.rmtree(work)
sys.exit(not good)
