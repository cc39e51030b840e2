#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A table of how fast, each beside a peer in the same run. Takes the build directory.
exec python3 "$(dirname "$0")/bench.py" "$1"
