# SPDX-License-Identifier: GPL-3.0-or-later
# Finding one's way among items: two of one name, renamed, retired, side, stock number, note.
. "$(dirname "$0")/tap.sh"
c=$work/catalogue
item() { "$bin" item "$@" --catalogue "$c"; }
typed() { # what a person types, then the words of the command: at a terminal, all of its output
    timeout 30 python3 - "$@" --catalogue "$c" 2>&1 <<'PY'
import os, pty, sys
child, terminal = pty.fork()
if child == 0:
    os.execv(sys.argv[2], sys.argv[2:])
os.write(terminal, sys.argv[1].encode() + b"\n")
shown = b""
try:
    while (piece := os.read(terminal, 4096)):
        shown += piece
except OSError:
    pass
print(shown.decode().replace("\r", ""), "status", os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
PY
}

expect "item add without a kind says so" 2 - "give its --name and its --kind" -- item add --name "My fin"
expect "a fin with all that is known of it" 0 "stock number: 0042" - -- item add --name "Old fin" --kind fin --size L --side left --stock-number 0042 --note "strap is new"
expect "its note is shown" 0 "note: strap is new" - -- item show "Old fin"
expect "and its side" 0 "side: left" - -- item show "Old fin"
expect "both on its sheet" 0 "side left, stock number 0042" - -- "$bin" show "Old fin" --catalogue "$c"
expect "a side that is none" 2 - "--side middle: write left, right or none" -- item edit "Old fin" --side middle
expect "no side any more" 0 '"side": null' - -- item edit "Old fin" --side none --json
expect "renamed" 0 "Grey fin" - -- item rename "Old fin" "Grey fin"
expect "the old name is gone" 2 - 'no item "Old fin"' -- item show "Old fin"
expect "renamed to nothing" 2 - "more than spaces" -- item rename "Grey fin" " "
expect "renamed without a new name" 2 - "the new name" -- item rename "Grey fin"
expect "what was known stays" 0 "stock number: 0042" - -- item show "Grey fin"

typed no "$bin" item add --name "Grey fin" --kind fin >"$work/out" 2>"$work/err"
grep -q 'There is "Grey fin" (.*) already' "$work/out" && grep -q 'nothing was stored' "$work/out" && grep -q 'status 2$' "$work/out" &&
    say yes "a second one of the name is asked about" || say no "a second one of the name is asked about"
[ "$("$bin" item list --json --catalogue "$c" | grep -c '"item_id"')" -eq 1 ] && say yes "nothing was stored" || say no "nothing was stored"
typed yes "$bin" item add --name "Grey fln" --kind fin >"$work/out" 2>"$work/err"
grep -q 'status 0$' "$work/out" && say yes "another name is not asked about" || say no "another name is not asked about"
typed yes "$bin" item add --name "GREY FIN" --kind fin --maker Tern >"$work/out" 2>"$work/err"
typed yes "$bin" item add --name "Grey fin" --kind fin --size M >"$work/out" 2>"$work/err"
grep -q 'status 0$' "$work/out" && say yes "yes stores it" || say no "yes stores it"

expect "two of one name are told apart" 2 - 'Grey fin, size L, number 0042.*Grey fin, size M' -- item show "Grey fin"

expect "retired" 0 "retired: .upthrust item restore. brings it back" - -- item retire "Grey fln"
expect "a retired item is still there" 0 "retired" - -- "$bin" show "Grey fln" --catalogue "$c"
expect "restored" 0 "Grey fln" - -- item restore "Grey fln"
expect "nothing to retire" 2 - "item retire: give one name or id" -- item retire

expect "a hood" 0 "" - -- item add --name "Old hood" --kind hood --holds-gas yes --size S
expect "the list tells those of one name apart" 0 "^Grey fin +size M +fin" - -- item list
expect "of one kind" 0 "^1 of 5 items shown; .upthrust item list. shows all" - -- item list --kind HOOD
expect "not the others" 0 "^Old hood" - -- item list --kind hood --size s --sort name
expect "by a text" 0 "^Old hood" - -- item list hood
expect "which is nowhere" 0 "^0 of 5 items shown" - -- item list zeppelin
expect "a page of one" 0 "^more follow: the same command with --after [0-9a-f-]*$" - -- item list --limit 1
item list --limit 2 --sort name >"$work/first"
item list --limit 2 --sort name --after "$(sed -n 's/^more follow: .*--after //p' "$work/first")" >"$work/second"
item list --limit 1 --sort name --after "$(sed -n 's/^more follow: .*--after //p' "$work/second")" >"$work/third"
item list --sort name | grep -c "fin \|fln \|hood " >"$work/whole"
[ "$(cat "$work/first" "$work/second" "$work/third" | grep -v "^more follow" | grep -c "fin \|fln \|hood ")" -eq "$(cat "$work/whole")" ] &&
    say yes "the pages of items of one name are the list" || say no "the pages of items of one name are the list"
grep -q "^more follow" "$work/third" && say no "nothing follows the last page" || say yes "nothing follows the last page"
expect "a page behind a name" 0 "^Old hood" - -- item list --limit 5 --after "Grey fln"
expect "behind nothing that is known" 2 - "no item" -- item list --limit 5 --after zeppelin
expect "--after without a page" 2 - "--after needs --limit N" -- item list --after "Grey fln"
expect "a page in an order that no index has" 2 - "leave out --sort newest, or --limit" -- item list --limit 5 --sort newest
expect "a page of none" 2 - "--limit" -- item list --limit 0
expect "pages in JSON" 0 '"last_id": "[0-9a-f-]*"' - -- item list --limit 1 --json
expect "a word for the order that is none" 2 - "--sort weight: choose one of name, kind, maker, model, size, up, newest" -- item list --sort weight
expect "a class that is none" 2 - "--class heavy: choose one of positive, neutral" -- item list --class heavy
item retire "Old hood" >"$work/out" 2>"$work/err"
expect "a retired item is not shown" 0 "^1 retired item not shown: add --retired" - -- item list
expect "unless asked for" 0 "^retired: Old hood" - -- item list --retired
item list --json >"$work/out"
grep -q "Old hood" "$work/out" && say no "nor in the JSON" || say yes "nor in the JSON"
sqlite3 "$c/catalogue.sqlite" "UPDATE typed_item SET name = 'Wrong' WHERE name = 'Grey fln'" 2>"$work/err" ||
    python3 -c "import sqlite3, sys; d = sqlite3.connect(sys.argv[1]); d.execute(\"UPDATE typed_item SET name = 'Wrong' WHERE name = 'Grey fln'\"); d.commit()" "$c/catalogue.sqlite"
expect "a table that does not fit the records is told" 0 "^1 row of the tables for quick answers: not what the records say.*--rebuild" - -- "$bin" check-catalogue --catalogue "$c"
expect "in JSON too" 0 '"finding": "tables do not fit the records"' - -- "$bin" check-catalogue --json --catalogue "$c"
expect "it is mended" 0 "made again" - -- "$bin" check-catalogue --rebuild --catalogue "$c"
"$bin" check-catalogue --catalogue "$c" | grep -q "quick answers" && say no "and fits" || say yes "and fits"
expect "mending stands alone" 2 - "--rebuild stands alone" -- "$bin" check-catalogue --rebuild --take-back x --catalogue "$c"
finish
