#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# First process of the small machine: runs the lines that come over its first serial port and says
# how each ended.
export PATH=/bin HOME=/tmp
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
mount -t tmpfs none /tmp
exec </dev/ttyS0 >/dev/ttyS0 2>&1
stty raw -echo
echo @@ready
# A busy host overruns this port now and then: a line that lost bytes is asked for again.
while read -r size line; do
    [ -n "$size" ] || continue
    [ "${#line}" = "$size" ] || { echo @@again; continue; }
    eval "$line"
    echo "@@done $?"
done
poweroff -f
