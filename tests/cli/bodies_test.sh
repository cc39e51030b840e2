#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Reference bodies and kinds through whole sessions between the program and the simulated tank.
. "$(dirname "$0")/tap.sh"
if python3 "$(dirname "$0")/bodies.py" "$bin" "$bin-tank" "$work/bodies" >"$work/out" 2>"$work/err"; then
    say yes "bodies, their chart, and what trials teach: $(cat "$work/out")"
else say no "bodies, their chart, and what trials teach"; fi
finish
