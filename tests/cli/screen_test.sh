#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The live screen on a pseudo-terminal: what it shows, and the terminal afterwards.
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
here=$(dirname "$0")
python3 "$here/screen.py" "$1/upthrust" "$1/upthrust-tank" "$here/../../rigs" "$work"
