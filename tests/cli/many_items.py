#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""many_items.py CATALOGUE COUNT: adds so many invented items to a catalogue of the demonstration, each with the
results of one that is there. Run rehash.py behind it."""
import json
import random
import sqlite3
import sys
import uuid

database = sqlite3.connect(sys.argv[1] + "/catalogue.sqlite")
chance = random.Random(database.execute("SELECT count(*) FROM record").fetchone()[0])


def one(kind, where=""):
    return database.execute("SELECT body, bench, made_utc FROM record WHERE kind = ? %s ORDER BY made_utc" % where,
                            (kind,)).fetchall()


results = {}
for body, bench, made_utc in one("result"):
    results.setdefault(json.loads(body)["item_id"], []).append((body, bench, made_utc))
items = [(subject, body) for subject, body in database.execute(
    "SELECT subject, body FROM record WHERE kind = 'item'") if subject in results]


def store(kind, body, bench, made_utc):
    subject = str(uuid.UUID(int=chance.getrandbits(128), version=4))
    database.execute("INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)", (subject, "0" * 64, kind, subject, bench, made_utc, body))
    database.execute("INSERT INTO local_mark VALUES (?, 'kept', '', '', ?)", (subject, made_utc))  # one of here
    return subject


# Texts are exchanged in the body as it stands, so that its numbers keep their digits.
for n in range(int(sys.argv[2])):
    old, body = items[n % len(items)]
    name, model = (json.dumps(json.loads(body)[key], ensure_ascii=False)[:-1] for key in ("name", "model"))
    body = body.replace('"name":%s"' % name, '"name":%s %d"' % (name, n)).replace(
        '"model":%s"' % model, '"model":%s %d"' % (model, n // 4))
    new = store("item", body, "", "2026-01-01T00:00:00.000Z")
    for result, bench, made_utc in results[old]:
        store("result", result.replace(old, new), bench, made_utc)
database.commit()
