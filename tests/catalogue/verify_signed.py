#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Verifies every record of an exported catalogue.json from the file alone, with other libraries
than the program's: hashlib, and Ed25519 (RFC 8032) of python3-cryptography. The detail is written
anew in the canonical form of RFC 8785. Prints how many records were signed, and by how many.
  usage: verify_signed.py CATALOGUE.JSON"""
import hashlib
import json
import math
import sys

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

ADDED = {"id", "subject", "sha256", "made_utc", "replaces", "bench", "withdrawn", "record_kind",
         "live", "signed"}


def number(value):
    """Number::toString of ECMAScript, as RFC 8785 3.2.2.3 wants it."""
    if isinstance(value, int):
        return str(value)
    if value == 0:
        return "0"
    mantissa, exponent = ("%r" % abs(value) if "e" in "%r" % abs(value) else "%re0" % abs(value)).split("e")
    whole, _, part = mantissa.partition(".")
    part = "" if part == "0" else part
    digits, point = whole + part, len(whole) + int(exponent)
    stripped = digits.lstrip("0")
    point -= len(digits) - len(stripped)
    digits = stripped.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        text = digits + "0" * (point - count)
    elif 0 < point <= 21:
        text = digits[:point] + "." + digits[point:]
    elif -6 < point <= 0:
        text = "0." + "0" * -point + digits
    else:
        text = digits[0] + ("." + digits[1:] if count > 1 else "") + "e%+d" % (point - 1)
    return ("-" if value < 0 else "") + text


def canonical(value):
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return "{" + ",".join(canonical(key) + ":" + canonical(value[key]) for key in keys) + "}"
    if isinstance(value, list):
        return "[" + ",".join(canonical(one) for one in value) + "]"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        assert math.isfinite(value)
        return number(value)
    return json.dumps(value, ensure_ascii=False)


def sha256(text):
    return hashlib.sha256(text.encode()).hexdigest()


def verify(entry, id_name):
    signed = entry["signed"]
    envelope = json.loads(signed["envelope"])
    assert sha256("upthrust-record-2\n" + signed["envelope"]) == entry["sha256"], "record hash"
    assert sha256(signed["facts"]) == envelope["facts"], "facts"
    facts = json.loads(signed["facts"])
    for key in facts:
        assert entry[key] == facts[key], key
    rest = {key: value for key, value in entry.items()
            if key not in facts and key not in ADDED and key != id_name}
    assert (sha256(canonical(rest)) if rest else None) == envelope["detail"], "detail"
    for key in ("id", "subject", "made_utc", "replaces"):
        assert entry[key] == envelope[key], key
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(envelope["writer"])).verify(
            bytes.fromhex(signed["signature"]), bytes.fromhex(entry["sha256"]))
    except InvalidSignature:
        raise AssertionError("signature") from None
    return envelope


def main():
    with open(sys.argv[1], encoding="utf-8") as stream:
        document = json.load(stream)
    names = {"items": "item", "calibrations": "calibration", "results": "result", "runs": "run",
             "trials": "trial", "rigs": "rig", "decisions": "decision",
             "reference_bodies": "reference", "reference_checks": "reference_check",
             "gear_kinds": "gear_kind", "writers": "writer", "held": "held",
             "vouchings": "vouching", "rotations": "rotation", "revocations": "revocation",
             "recalls": "recall"}
    chains, unsigned = {}, 0
    for name, kind in list(names.items()) + [("versions", None)]:
        for entry in document[name]:
            if "signed" not in entry:
                unsigned += 1
                continue
            envelope = verify(entry, (kind or entry["record_kind"]) + "_id")
            chain = chains.setdefault(envelope["writer"], {})
            assert envelope["sequence"] not in chain, "two under one number"
            chain[envelope["sequence"]] = (entry["sha256"], envelope["previous"])
    for chain in chains.values():
        for sequence, (_, previous) in chain.items():
            assert previous == (chain[sequence - 1][0] if sequence > 1 else None), "chain"
    print("%d signed by %d, %d unsigned" %
          (sum(len(chain) for chain in chains.values()), len(chains), unsigned))


main()
