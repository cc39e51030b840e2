#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# A quick afternoon by pedal, lamp and buzzer alone, on the simulated tank.
. "$(dirname "$0")/../cli/tap.sh"
here=$(dirname "$0")
if timeout 300 python3 "$here/wet_hands.py" "$bin" "$1/tests/operator/pretended" "$bin-tank" "$work/tank" >"$work/out" 2>"$work/err"; then
    say yes "an afternoon without a screen: $(head -n 1 "$work/out")"; else say no "an afternoon without a screen"; cat "$work/err"; fi
finish
