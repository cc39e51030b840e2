#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The simulated tank as a program: its first line, granted samples on the port, the operator's acts.
#   sh tests/rigs/tank_program_test.sh build/release
exec python3 "$(dirname "$0")/tank_program.py" "$1/upthrust-tank"
