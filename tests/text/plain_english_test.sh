# SPDX-License-Identifier: GPL-3.0-or-later
# Plain English: no word or turn of plain_english.txt stands in what people read.
here=$(dirname "$0")
python3 "$here/plain_english.py" "$1/upthrust"
# The check itself: a page with a turn from the list is found, code in it is not.
page=$(mktemp)
trap 'rm -f "$page"' EXIT
printf 'The result is told for the\ntank only.\n' >"$page"
python3 "$here/plain_english.py" "$1/upthrust" "$page" | grep -q '"told": write' && echo "ok - a turn is found" || echo "not ok - a turn is found"
printf 'Type `told anew`.\n\n```sh\ntold\n```\n' >"$page"
python3 "$here/plain_english.py" "$1/upthrust" "$page" | grep -q '^ok' && echo "ok - code is left out" || echo "not ok - code is left out"
# What README must say until it is no longer so, and what decides.
grep -q 'No real gear has been weighed with it yet' "$here/../../README.md" && echo "ok - README says what it was tried on" || echo "not ok - README says what it was tried on"
grep -q 'A weight check in the water decides' "$here/../../README.md" && echo "ok - README says what decides" || echo "not ok - README says what decides"
