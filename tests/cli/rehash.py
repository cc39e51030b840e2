#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""rehash.py CATALOGUE: gives records that a test changed in the file the hash of what they are now.

The hash is over canonical JSON: sorted keys, no blanks, and the body as it is stored."""
import hashlib
import json
import sqlite3
import sys


def text(value):
    return json.dumps(value, ensure_ascii=False)


database = sqlite3.connect(sys.argv[1] + "/catalogue.sqlite")
rules = database.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
for name, _ in rules:
    database.execute("DROP TRIGGER " + name)
for rowid, record_id, kind, subject, bench, made_utc, body in database.execute(
        "SELECT rowid, id, kind, subject, bench, made_utc, body FROM record").fetchall():
    replaces = [old for old, in database.execute("SELECT old_id FROM replaces WHERE new_id = ? ORDER BY 1", (record_id,))]
    whole = '{"bench":%s,"body":%s,"kind":%s,"made_utc":%s,"replaces":%s,"subject":%s}' % (
        text(bench), body, text(kind), text(made_utc), json.dumps(replaces, separators=(",", ":")), text(subject))
    database.execute("UPDATE record SET sha256 = ? WHERE rowid = ?", (hashlib.sha256(whole.encode()).hexdigest(), rowid))
for _, sql in rules:
    database.execute(sql)
database.commit()
