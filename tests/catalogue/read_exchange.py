#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads an exchange directory with somebody else's CSV and JSON readers and compares the two."""
import csv
import io
import json
import math
import sys

FILES = {"items": "items.csv", "calibrations": "calibrations.csv", "results": "results.csv"}


def refuse(word):
    raise ValueError(word + " is no JSON")


def guarded(text):
    """As a text stands in CSV, where a spreadsheet must not take it for a formula."""
    try:
        float(text)
    except ValueError:
        return "'" + text if text[:1] in ("=", "+", "-", "@") else text
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


def check_file(directory, kind, document):
    with open(directory + "/" + FILES[kind], "rb") as stream:
        raw = stream.read()
    assert raw.endswith(b"\r\n") and raw.count(b"\n") == raw.count(b"\r\n"), kind
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    header, rows = rows[0], rows[1:]
    assert len(set(header)) == len(header), header
    assert len(rows) == len(document[kind]), (kind, len(rows))
    names = {item["subject"]: item["name"] for item in document["items"]}
    for row, entry in zip(rows, document[kind]):
        assert len(row) == len(header), (kind, row)
        entry = dict(entry, record_id=entry["id"])
        if kind == "results":
            entry["item_name"] = names.get(entry["item_id"], "")
        for key, cell in zip(header, row):
            check_cell(kind, key, cell, entry[key])


def main():
    directory = sys.argv[1]
    with open(directory + "/catalogue.json", encoding="utf-8") as stream:
        document = json.load(stream, parse_constant=refuse)
    assert document["schema"] == "upthrust-catalogue-1"
    for kind in FILES:
        check_file(directory, kind, document)
    wanted = sys.argv[2:]
    assert [item["name"] for item in document["items"]] == wanted, wanted


main()
