#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What a shop, a club and a diver have to do, counted: a step too many fails.
. "$(dirname "$0")/tap.sh"
here=$(dirname "$0")
for who in shop club diver; do
    (timeout 300 python3 "$here/$who.py" "$bin" "$bin-tank" "$work/$who" >"$work/$who.out" 2>"$work/$who.err") &
done
wait
for who in shop club diver; do
    cp "$work/$who.out" "$work/out"; cp "$work/$who.err" "$work/err"
    grep -q "^$who.*commands" "$work/out" && [ ! -s "$work/err" ] && say yes "$(tr '\n' ';' <"$work/out")" || say no "$who"
done
finish
