# SPDX-License-Identifier: GPL-3.0-or-later
# Sourced by the shell tests: TAP lines, and how a program's status and words are checked.
#   expect NAME STATUS OUT-PATTERN ERR-PATTERN -- COMMAND...   (patterns: grep -E; "" for anything,
#   "-" for an empty stream). A failure must be one line on stderr that begins with "upthrust: ".
set -u
bin=$1/upthrust
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export XDG_STATE_HOME="$work/state"
tests=0
say() { # status-ok name
    tests=$((tests + 1))
    if [ "$1" = yes ]; then echo "ok $tests - $2"; else
        echo "not ok $tests - $2"
        sed 's/^/#   out: /' "$work/out" | head -n 5
        sed 's/^/#   err: /' "$work/err" | head -n 5
    fi
}
matches() { # file pattern
    case $2 in
    '') return 0 ;;
    -) [ ! -s "$1" ] ;;
    *) grep -qE -- "$2" "$1" ;;
    esac
}
expect() {
    name=$1 want=$2 out=$3 err=$4
    shift 5
    "$@" >"$work/out" 2>"$work/err" </dev/null
    got=$?
    good=yes
    [ "$got" -eq "$want" ] || { good=no; echo "# status $got, wanted $want"; }
    matches "$work/out" "$out" || good=no
    matches "$work/err" "$err" || good=no
    if [ "$want" -eq 1 ] || [ "$want" -eq 2 ]; then
        [ "$(grep -c . "$work/err")" -eq 1 ] && grep -q '^upthrust: ' "$work/err" || good=no
    fi
    say $good "$name"
}
finish() { echo "1..$tests"; }
