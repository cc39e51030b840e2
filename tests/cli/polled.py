# SPDX-License-Identifier: GPL-3.0-or-later
"""A device on a pseudo-terminal that sends only when asked: for "more 10" ten lines with a clock, or, as many
scales do, its weight for W and CR. Ends when its link is gone."""
import os
import pty
import select
import sys
import time
import tty

link, wire = sys.argv[1:3]
master, slave = pty.openpty()
tty.setraw(master)
tty.setraw(slave)
os.symlink(os.ttyname(slave), link)
end, heard, n = time.monotonic() + 40, b"", 0
while time.monotonic() < end and os.path.islink(link):
    if not select.select([master], [], [], 0.1)[0]:
        continue
    heard += os.read(master, 100)
    if wire == "ask" and heard.endswith(b"\r"):
        n += 1
        time.sleep(0.02)
        os.write(master, b"ST,GS,   2.5%d kg\r\n" % (n % 5) if heard == b"W\r" else b"")
        heard = b""
    elif wire != "ask" and heard == b"more 10\n":
        for _ in range(10):
            n += 1
            os.write(master, b"%d,%d,21.5\r\n" % (n * 100, 100000 + n * 7919 % 97))
        heard = b""
