#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The wrong edits of `make mutants` can all be made: each text stands once where the list says.
exec python3 "$(dirname "$0")/mutants.py" --check
