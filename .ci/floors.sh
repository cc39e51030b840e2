#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The one-way arrows between the folders of firmware-host/, by what each file includes and links.
# Prints a TAP line a folder; after them what .ci/limits.sh says of how large things may grow.
#   wire <- stream <- bench <- catalogue <- {keep, trust, report <- {label, page, run_report}, operator, kit} <- session <- cli; everybody may ask metrology
#   and text; catalogue and who stands right of it, signing.
set -u
cd "$(dirname "$0")/.." || exit 2
bad=0 tests=0
public_of() { # folder -> public headers it may include
    base="quantity failure"
    maths="water waters gravity gas weighing masses chart moment"
    case $1 in
    text) echo "failure" ;;
    signing) echo "failure item" ;;
    metrology) echo "$base $maths" ;;
    wire) echo "$base $maths item rig wire" ;;
    stream | bench | operator) echo "$base $maths item rig wire reference result calibration measurement" ;;
    catalogue | keep) echo "$base $maths item reference result calibration catalogue measurement" ;;
    trust) echo "failure item catalogue" ;;
    report) echo "$base $maths item reference result calibration catalogue rig wire" ;;
    kit) echo "$base $maths item reference result calibration catalogue" ;;
    label | page | run_report) echo "$base $maths item reference result calibration catalogue rig" ;;
    session | cli) ls include/upthrust | sed 's/\.h$//' ;;
    esac
}
folders_of() { # folder -> folders whose own headers it may include
    case $1 in
    text | metrology) echo "$1" ;;
    signing) echo "signing text" ;;
    wire) echo "wire text metrology" ;;
    catalogue) echo "catalogue signing stream bench text metrology" ;; # the form of a plateau
    keep) echo "keep catalogue signing text" ;;
    trust) echo "trust catalogue signing text" ;;
    stream) echo "stream wire text metrology" ;;
    bench) echo "bench stream wire text metrology" ;;
    # A run's trace is read again: the line reader and the glitch test, no ports.
    report) echo "report catalogue signing stream bench text metrology" ;;
    operator) echo "operator catalogue signing stream bench wire text metrology" ;;
    kit) echo "kit catalogue signing text metrology" ;;
    label | page | run_report) echo "$1 report catalogue signing text metrology" ;;
    session) ls firmware-host | grep -vx cli ;;
    cli) ls firmware-host ;;
    esac
}
system_of() { # folder -> libraries it must not touch
    case $1 in
    metrology) echo 'sqlite3|jansson|ini\.h|uuid|nettle|unistd|fcntl|poll|termios|time\.h|stdio|sys/|libserialport|gpiod' ;;
    wire) echo 'sqlite3|uuid|gpiod' ;;
    signing) echo 'sqlite3|uuid|gsl|termios|libserialport|gpiod|curses' ;;
    stream | bench) echo 'sqlite3|uuid|nettle|unistd|fcntl|poll|termios|time\.h|sys/|signal|libserialport|gpiod|curses' ;;
    operator) echo 'sqlite3|uuid|libserialport' ;;
    session) echo 'sqlite3|termios|gpiod|curses' ;;
    catalogue | keep | trust | report | kit | label | page | run_report) echo 'termios|libserialport|gpiod' ;;
    text) echo 'sqlite3|gsl|termios|libserialport|gpiod' ;;
    cli) echo 'sqlite3|termios' ;;
    esac
}
included() { grep -ho '#include "[^"]*"' "$@" | cut -d'"' -f2; }
for folder in $(ls firmware-host); do
    wrong=
    allowed=" $(public_of "$folder" | tr '\n' ' ') "
    [ "$allowed" != "  " ] || wrong="unknown folder $folder"
    for header in $(included firmware-host/"$folder"/* | grep '^upthrust/' | sed 's,.*/\(.*\)\.h,\1,' | sort -u); do
        case $allowed in *" $header "*) ;; *) wrong="$wrong upthrust/$header.h" ;; esac
    done
    allowed=" $(folders_of "$folder" | tr '\n' ' ') "
    # Without memory a calculation ends as all else does.
    for other in $(included firmware-host/"$folder"/* | grep -vE '^(upthrust/|text/memory\.h)' | sed -n 's,^\(\.\./\)*\([a-z]*\)/.*,\2,p' | sort -u); do
        case $allowed in *" $other "*) ;; *) wrong="$wrong $other/" ;; esac
    done
    # Time at the bench is the device's; JSON is no business of pure code.
    case $folder in stream | bench | metrology)
        included firmware-host/"$folder"/* | grep -qxE 'text/(clock|json)\.h' && wrong="$wrong text/clock.h or json.h" ;;
    esac
    lib=$(grep -hoE "#include <[^>]*>" firmware-host/"$folder"/* | grep -E "$(system_of "$folder")" | sort -u | tr '\n' ' ')
    tests=$((tests + 1))
    if [ -z "$wrong$lib" ]; then echo "ok $tests - $folder asks only its left neighbours"; else
        echo "not ok $tests - $folder asks$wrong $lib"; bad=1; fi
done
# The simulated tank knows physics and text, nothing of the bench that it tests.
tests=$((tests + 1))
foreign=$(included rigs/*.[ch] | grep / | grep -vxE 'upthrust/(water|failure)\.h|text/text\.h' | sort -u)
if [ -z "$foreign" ]; then echo "ok $tests - the simulated tank knows nothing of the bench"; else
    echo "not ok $tests - the simulated tank asks $foreign"; bad=1; fi
# cli/ alone prints failures and leaves the program.
tests=$((tests + 1))
leaves=$(grep -nE '(^|[^_a-z])(exit|abort|perror)\(' firmware-host/*/*.c | grep -vE '^firmware-host/(cli/|text/allocate\.c)|_exit')
if [ -z "$leaves" ]; then echo "ok $tests - only cli leaves the program"; else
    echo "not ok $tests - $leaves"; bad=1; fi
# ... and it alone prints where nobody handed it a stream.
tests=$((tests + 1))
prints=$(grep -nE '(^|[^_a-z>.])(printf|puts|putchar)\(|stdout|stderr' firmware-host/*/*.c | grep -vE '^firmware-host/cli/')
if [ -z "$prints" ]; then echo "ok $tests - only cli prints"; else
    echo "not ok $tests - $prints"; bad=1; fi
sh .ci/limits.sh || bad=1
exit $bad
