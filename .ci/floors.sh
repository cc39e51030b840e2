#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The one-way arrows between the folders of firmware-host/, by what each file includes and links.
# Prints a TAP line a folder.
#   wire <- bench <- catalogue <- {report, operator} <- session <- cli; everybody may ask metrology
#   and text.
set -u
cd "$(dirname "$0")/.." || exit 2
bad=0 tests=0
headers_of() { # folder -> headers it may include
    base="quantity failure text"
    maths="water waters gravity gas breathing_gas material statistics weighing masses outlier chart bodies shake moment"
    case $1 in
    text) echo "failure text json clock" ;;
    metrology) echo "quantity failure $maths" ;;
    wire) echo "$base clock json $maths item rig wire port guess" ;;
    bench) echo "$base $maths item rig wire reference result calibration bench fitness listen procedure measurement" ;;
    catalogue) echo "$base clock json $maths item reference kind result calibration catalogue run" ;;
    # A run's trace is read again: the line reader and the glitch test, no ports.
    report) echo "$base json $maths item reference kind result calibration catalogue report rig wire bench" ;;
    operator) echo "$base clock json $maths item rig wire reference result calibration bench listen fitness procedure measurement panel live operator" ;;
    session | cli) ls include/upthrust | sed 's/\.h$//' ;;
    esac
}
system_of() { # folder -> libraries it must not touch
    case $1 in
    metrology) echo 'sqlite3|jansson|ini\.h|uuid|nettle|unistd|fcntl|poll|termios|time\.h|stdio|sys/|libserialport|gpiod' ;;
    wire) echo 'sqlite3|uuid|gpiod' ;;
    bench) echo 'sqlite3|uuid|nettle|unistd|fcntl|poll|termios|time\.h|sys/|signal|libserialport|gpiod|curses' ;;
    operator) echo 'sqlite3|uuid|termios|libserialport' ;;
    session) echo 'sqlite3|termios|gpiod|curses' ;;
    catalogue | report) echo 'termios|libserialport|gpiod' ;;
    text) echo 'sqlite3|gsl|termios|libserialport|gpiod' ;;
    cli) echo 'sqlite3|termios' ;;
    esac
}
for folder in $(ls firmware-host); do
    wrong=
    allowed=" $(headers_of "$folder" | tr '\n' ' ') "
    [ "$allowed" != "  " ] || wrong="unknown folder $folder"
    for header in $(grep -ho '#include "upthrust/[a-z_]*\.h"' firmware-host/"$folder"/* | sed 's/.*upthrust\/\(.*\)\.h"/\1/' | sort -u); do
        case $allowed in *" $header "*) ;; *) wrong="$wrong upthrust/$header.h" ;; esac
    done
    lib=$(grep -hoE "#include <[^>]*>" firmware-host/"$folder"/* | grep -E "$(system_of "$folder")" | sort -u | tr '\n' ' ')
    tests=$((tests + 1))
    if [ -z "$wrong$lib" ]; then echo "ok $tests - $folder asks only its left neighbours"; else
        echo "not ok $tests - $folder asks$wrong $lib"; bad=1; fi
done
# The simulated tank knows physics and text, nothing of the bench that it tests.
tests=$((tests + 1))
foreign=$(grep -ho '#include "upthrust/[a-z_]*\.h"' rigs/*.[ch] | grep -vE 'upthrust/(water|text|failure)\.h' | sort -u)
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
echo "1..$tests"
exit $bad
