#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads an exchange directory with somebody else's readers: CSV, JSON, JSON Schema, the CSV metadata,
the sqlite3 shell and gnuplot, and compares what they see."""
import csv
import io
import json
import math
import os
import re
import shutil
import subprocess
import sys

try:
    from jsonschema import Draft202012Validator
except ImportError:
    sys.exit(77)
if not shutil.which("sqlite3") or not shutil.which("gnuplot"):
    sys.exit(77)

KINDS = ["items", "calibrations", "results", "runs", "trials", "rigs", "decisions",
         "reference_bodies", "reference_checks", "gear_kinds", "writers", "held",
         "vouchings", "rotations", "revocations", "recalls"]


def refuse(word):
    raise ValueError(word + " is no JSON")


def load(path):
    with open(path, encoding="utf-8") as stream:
        return json.load(stream, parse_constant=refuse)


def guarded(text):
    """As a text stands in CSV, where a spreadsheet must not take it for a formula."""
    try:
        float(text)
    except ValueError:
        text = re.sub("(; *)(?=[=+@\uff1d\uff0b\uff0d\uff20-])", r"\1'", text)
        return "'" + text if text[:1] in tuple("=+-@\uff1d\uff0b\uff0d\uff20") else text
    return text


def check_cell(where, key, cell, value):
    if value is None:
        good = cell == ("INF" if key == "dof" else "")
    elif isinstance(value, bool):
        good = cell == ("true" if value else "false")
    elif isinstance(value, (int, float)):
        good = math.isfinite(value) and float(cell) == value
    else:
        good = cell == guarded(value)
    assert good, (where, key, cell, value)


def read_csv(path):
    with open(path, "rb") as stream:
        raw = stream.read()
    assert raw.endswith(b"\r\n") and raw.count(b"\n") == raw.count(b"\r\n"), path
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    assert len(set(rows[0])) == len(rows[0]), rows[0]
    return rows[0], rows[1:]


def check_file(directory, kind, document):
    header, rows = read_csv("%s/%s.csv" % (directory, kind))
    assert len(rows) == len(document[kind]), (kind, len(rows))
    names = {item["subject"]: item["name"] for item in document["items"]}
    words = {entry["result_id"]: entry["body_check"] for entry in document["body_checks"]}
    assert sorted(words) == sorted(r["subject"] for r in document["results"])
    for row, entry in zip(rows, document[kind]):
        assert len(row) == len(header), (kind, row)
        entry = dict(entry, record_id=entry["id"], elsewhere=False)
        if kind == "results":
            entry["item_name"] = names.get(entry["item_id"], "")
            entry["body_check"] = words[entry["subject"]]
        for key, cell in zip(header, row):
            check_cell(kind, key, cell, entry.get(key))


FORM = {
    "string": ".*",
    "double": r"[-+]?(\d+(\.\d*)?|\.\d+)(e[-+]?\d+)?|-?INF|NaN",
    "integer": r"[-+]?\d+",
    "boolean": "true|false",
    "dateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z",
}


def check_metadata(directory):
    """What the W3C recommendation asks of a table: columns in their order, datatypes, keys."""
    metadata = load(directory + "/csv-metadata.json")
    assert metadata["@context"] == "http://www.w3.org/ns/csvw"
    assert metadata["dialect"]["encoding"] == "utf-8" and metadata["dialect"]["header"] is True
    assert sorted(t["url"] for t in metadata["tables"]) == sorted(k + ".csv" for k in KINDS)
    keys = {}
    for table in metadata["tables"]:
        header, rows = read_csv(directory + "/" + table["url"])
        columns = table["tableSchema"]["columns"]
        assert [c["name"] for c in columns] == header, table["url"]
        key = header.index(table["tableSchema"]["primaryKey"])
        keys[table["url"], header[key]] = {row[key] for row in rows}
        assert len(keys[table["url"], header[key]]) == len(rows)
        for row in rows:
            for column, cell in zip(columns, row):
                good = re.fullmatch(FORM[column["datatype"]], cell, re.I | re.S)
                assert good if cell else not column["required"], (table["url"], column, cell)
    pointed = 0
    for table in metadata["tables"]:
        for key in table["tableSchema"]["foreignKeys"]:
            there = key["reference"]
            assert (there["resource"], there["columnReference"]) in keys
            assert key["columnReference"] in [c["name"] for c in table["tableSchema"]["columns"]]
            pointed += 1
    assert pointed >= 5


def check_schema(directory, document):
    schema = load(directory + "/catalogue.schema.json")
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    errors = [e.message for e in validator.iter_errors(document)]
    assert not errors, errors[:3]
    for spoil in (lambda d: d["results"][0].pop("buoyancy_g"),
                  lambda d: d["results"][0].update(trials="many"),
                  lambda d: d["items"][0].update(id="../../etc"),
                  lambda d: d.pop("runs"),
                  lambda d: d["versions"][0].update(record_kind="spell"),
                  lambda d: d["body_checks"][0].update(body_check="perhaps")):
        bad = json.loads(json.dumps(document))
        spoil(bad)
        assert not validator.is_valid(bad)


def check_sqlite(directory, document):
    script = "".join('.import --csv "%s/%s.csv" %s\n' % (directory, k, k) for k in KINDS)
    script += ".mode json\nSELECT %s;\n" % ", ".join(
        "(SELECT count(*) FROM %s) AS %s" % (k, k) for k in KINDS)
    script += "SELECT name FROM items;\n"
    run = subprocess.run(["sqlite3", ":memory:"], input=script, capture_output=True, text=True)
    assert run.returncode == 0 and not run.stderr, run.stderr
    counts, _, names = run.stdout.partition("\n")
    assert json.loads(counts) == [{k: len(document[k]) for k in KINDS}], counts
    assert [row["name"] for row in json.loads(names)] == [guarded(i["name"]) for i in document["items"]]


def check_gnuplot(directory, document):
    header, _ = read_csv(directory + "/results.csv")
    script = """set datafile separator comma
stats '%s/results.csv' using %d nooutput
print STATS_records, STATS_min, STATS_max""" % (directory, header.index("buoyancy_g") + 1)
    run = subprocess.run(["gnuplot", "-d", "-"], input=script + "\n", capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    records, low, high = run.stderr.split()
    # gnuplot 5.4 splits a field in which a comma follows a doubled quote, as only that name has it.
    values = [r["buoyancy_g"] for r in document["results"] if '",' not in r["water"]]
    assert int(float(records)) == len(values), run.stderr
    assert abs(float(low) - min(values)) < 1e-3 * max(1, abs(min(values)))
    assert abs(float(high) - max(values)) < 1e-3 * max(1, abs(max(values)))


def main():
    directory = sys.argv[1]
    document = load(directory + "/catalogue.json")
    assert document["schema"] == "upthrust-catalogue-2"
    for kind in KINDS:
        check_file(directory, kind, document)
    wanted = sys.argv[2:]
    assert [item["name"] for item in document["items"]] == wanted, wanted
    check_metadata(directory)
    check_schema(directory, document)
    check_sqlite(directory, document)
    check_gnuplot(directory, document)
    assert not [f for f in os.listdir(directory) if ".part-" in f]


main()
