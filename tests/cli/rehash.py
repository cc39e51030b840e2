#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""rehash.py CATALOGUE: makes all records such as programs wrote before records were signed, and gives
those that a test changed in the file since the hash of what they are now.

The hash is over canonical JSON: sorted keys, no blanks, and the body as it is stored."""
import hashlib
import json
import re
import sqlite3
import sys


def text(value):
    return json.dumps(value, ensure_ascii=False)


def written(value):
    """With sorted keys and 17 digits, as bodies were stored."""
    if isinstance(value, dict):
        return "{" + ",".join(text(key) + ":" + written(value[key]) for key in sorted(value)) + "}"
    if isinstance(value, list):
        return "[" + ",".join(written(one) for one in value) + "]"
    if isinstance(value, float):
        number = re.sub(r"e(-?)\+?0*", r"e\1", "%.17g" % value)
        return number if "." in number or "e" in number else number + ".0"
    return text(value)


database = sqlite3.connect(sys.argv[1] + "/catalogue.sqlite")
rules = database.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
for name, _ in rules:
    database.execute("DROP TRIGGER " + name)
for rowid, body, detail in database.execute(
        "SELECT record.rowid, record.body, detail.body FROM record JOIN signed USING (id, sha256)"
        " LEFT JOIN detail USING (sha256)").fetchall():
    whole = {**json.loads(body), **json.loads(detail or "{}")}
    database.execute("UPDATE record SET body = ? WHERE rowid = ?", (written(whole), rowid))
database.execute("DELETE FROM signed")
database.execute("DELETE FROM detail")
for rowid, record_id, kind, subject, bench, made_utc, body in database.execute(
        "SELECT rowid, id, kind, subject, bench, made_utc, body FROM record").fetchall():
    replaces = [old for old, in database.execute("SELECT old_id FROM replaces WHERE new_id = ? ORDER BY 1", (record_id,))]
    whole = '{"bench":%s,"body":%s,"kind":%s,"made_utc":%s,"replaces":%s,"subject":%s}' % (
        text(bench), body, text(kind), text(made_utc), json.dumps(replaces, separators=(",", ":")), text(subject))
    database.execute("UPDATE record SET sha256 = ? WHERE rowid = ?", (hashlib.sha256(whole.encode()).hexdigest(), rowid))
for _, sql in rules:
    database.execute(sql)
database.commit()
