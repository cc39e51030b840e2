#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The wrong edits of `make mutants`, and those of the firmware, can all be made: each text stands once where the list says.
here=$(dirname "$0")
python3 -B "$here/../firmware/mutants.py" --check && exec python3 "$here/mutants.py" --check
