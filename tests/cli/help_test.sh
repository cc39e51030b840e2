# SPDX-License-Identifier: GPL-3.0-or-later
# Help, man page and completion know every command of the table.
. "$(dirname "$0")/tap.sh"
expect "help" 0 "At the tank:" - -- "$bin" help
commands=$(sed -n 's/^  \([a-z]*\)  *[a-z].*/\1/p' "$work/out" | grep -v '^help$')
[ "$(echo "$commands" | wc -l)" -ge 10 ] && say yes "the table is there" || say no "the table is there"
"$bin" --print man >"$work/upthrust.1"
"$bin" --print bash-completion >"$work/completion"
for command in $commands; do
    expect "help $command has examples" 0 "^  upthrust $command" - -- "$bin" help "$command"
    grep -q "^\.SS \"upthrust $command[ \"]" "$work/upthrust.1" &&
        say yes "man page has $command" || say no "man page has $command"
    grep -q "^    $command:\*)" "$work/completion" &&
        say yes "completion has $command" || say no "completion has $command"
    "$bin" help "$command" | sed -n 's/^  \(--[a-z0-9-]*\).*/\1/p' >"$work/options"
    missing=
    while read -r option; do
        [ "$option" = --help ] || grep -qF -- "$(echo "$option" | sed 's/-/\\-/g')" "$work/upthrust.1" ||
            missing="$missing $option"
        grep "^    $command:\*)" "$work/completion" | grep -q -- "$option[ ']" || missing="$missing $option"
    done <"$work/options"
    echo "$missing" >"$work/out"
    [ -z "$missing" ] && say yes "options of $command" || say no "options of $command"
done
# Every caution stands in the man page and in the page of the rig.
sed 's/\\//g' "$work/upthrust.1" | tr '\n' ' ' >"$work/man"
tr '\n' ' ' <"$(dirname "$0")/../../rigs/README.md" | tr -s ' ' >"$work/page"
for caution in "ains off" "battery" "two people or a hoist" "nobody goes under water" "residual-current" "wash your hands" \
    "breaks a glass tank" "warm standing water" "within their test date" "maker's instructions" "local codes" "licensed practice" \
    "never work alone" "people or swimmers" "weight check in the water decides"; do
    grep -qi "$caution" "$work/man" && grep -qi "$caution" "$work/page" &&
        say yes "caution: $caution" || say no "caution: $caution"
done
if command -v groff >/dev/null; then
    groff -man -ww -Tutf8 "$work/upthrust.1" >"$work/out" 2>"$work/err"
    [ ! -s "$work/err" ] && grep -q UPTHRUST_CATALOGUE "$work/out" && say yes "man page is clean" || say no "man page is clean"
else
    echo "ok - man page is clean # SKIP no groff"
fi

# What a shell offers for some beginnings of a line; "-" for nothing.
complete_line() { # word... (the last one is being typed)
    bash --norc -c '. "$1"; shift
        COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _upthrust; printf "%s " "${COMPREPLY[@]}"' \
        _ "$work/completion" upthrust "$@" 2>"$work/err" | sed 's/ *$//'
}
offers() { # name wanted word...
    name=$1 wanted=$2
    shift 2
    complete_line "$@" >"$work/out"
    [ "$(cat "$work/out")" = "$wanted" ] && [ ! -s "$work/err" ] && say yes "$name" || say no "$name"
}
if command -v bash >/dev/null; then
    offers "commands" "calibrate calibration" cal
    offers "commands to be helped with" "explain" help expla
    offers "two such commands" "explain export" help ex
    offers "verbs" "list" item li
    offers "options" "--masses-g --mass-class" calibrate --mass
    offers "values" "metric" measure --units m
    offers "no values" "" measure --trials ""
    c=$work/catalogue
    for name in "My fin" "My other \$(touch $work/mark) fin" "Old fin"; do
        "$bin" item add --name "$name" --kind fin --catalogue "$c" >/dev/null
    done
    "$bin" item retire "Old fin" --catalogue "$c" >/dev/null
    PATH=$(cd "$(dirname "$bin")" && pwd):$PATH
    offers "items" "My\\ fin My\\ other\\ \\\$\\(touch\\ $work/mark\\)\\ fin" show --catalogue "$c" ""
    offers "items of a verb, after a quote" "My fin" item --catalogue "$c" edit '"My f'
    offers "none that a quote does not hold" "" show --catalogue "$c" '"My o'
    offers "items as values, with backslashes" "My\\ fin" measure --catalogue "$c" --item 'My\ f'
    offers "no retired item" "" explain --catalogue "$c" Old
    offers "no items where there is no catalogue" "" show --catalogue "$work/none" ""
    offers "kinds" "fin fins" item list --kind fi
    offers "waters" "fresh" measure --water fre
    here=$PWD
    cd "$work" && mkdir a-folder && : >"a-\$(touch mark) \`touch mark\`.ini"
    offers "files are no words of a shell" "a-folder a-\$(touch mark) \`touch mark\`.ini" listen --rig a-
    offers "folders" "a-folder" show --catalogue a-
    cd "$here" || exit 2
    [ -e "$work/mark" ] && say no "nothing was executed" || say yes "nothing was executed"
fi

expect "help help" 0 "usage: upthrust COMMAND" - -- "$bin" help help
# The next command begins as this one did, quoted for a shell where need be.
mkdir "$work/a b" "$work/a
b" && ln -s "$(realpath "$bin")" "$work/a b/upthrust" && ln -s "$(realpath "$bin")" "$work/a
b/upthrust"
expect "by a path" 0 "^Begin with: '$work/a b/upthrust' demo" - -- "$work/a b/upthrust" help
expect "by its name" 0 "^Begin with: upthrust demo" - -- env "PATH=$work/a b:$PATH" upthrust help
expect "by what no line holds" 0 "^Begin with: upthrust demo" - -- "$work/a
b/upthrust" help
expect "help rig has the cautions" 0 "^## Cautions, before you wire or fill anything" - -- "$bin" help rig
expect "import of CSV" 2 - "x.csv: import takes the catalogue.json that" -- "$bin" import x.csv --catalogue "$work/none"
expect "a rig file is asked for" 2 - "upthrust help rig.*upthrust ports --listen --write FILE" -- "$bin" rig-check
expect "a slip in a command" 2 - "did you mean measure" -- "$bin" mesure
expect "a slip in help" 2 - "did you mean calibrate" -- "$bin" help calibarte
expect "a slip in an option" 2 - "did you mean --catalogue" -- "$bin" item list --catalouge x
expect "an option that takes nothing" 2 - "takes no value" -- "$bin" item list --json=yes
expect "print what?" 2 - "man, bash-completion or items" -- "$bin" --print
finish
