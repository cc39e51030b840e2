# SPDX-License-Identifier: GPL-3.0-or-later
"""rigs/firmware/flash.sh at a bootloader of ours on a pseudo-terminal; prints TAP.

  flash_check.py IMAGE.hex

The bootloader speaks the first protocol of the maker's application note 061 on in-system
programming (commands from memory).
"""
import os
import pty
import select
import subprocess
import sys
import threading
import tty

IMAGE = sys.argv[1]
SCRIPT = "rigs/firmware/flash.sh"
IN_SYNC, OK, END = b"\x14", b"\x10", 0x20
number = failed = 0


def check(good, name, why=""):
    global number, failed
    number += 1
    failed += not good
    print(f"{'ok' if good else 'not ok'} {number} - {name}" + ("" if good else f": {why}"), flush=True)


def image_bytes():
    """The bytes of an Intel HEX file, by address."""
    content = {}
    with open(IMAGE, encoding="ascii") as file:
        for line in file:
            record = bytes.fromhex(line[1:].strip())
            assert sum(record) % 256 == 0
            if record[3] == 0:
                at = record[1] << 8 | record[2]
                content.update(enumerate(record[4:-1], at))
    return content


class Bootloader(threading.Thread):
    # so many bytes follow each command; the last of them ends it
    LENGTHS = {0x30: 1, 0x41: 2, 0x42: 21, 0x45: 6, 0x50: 1, 0x51: 1, 0x55: 3, 0x56: 5, 0x74: 4, 0x75: 1}

    def __init__(self, signature=b"\x1e\x95\x0f", deaf=False, bad_bit=False):
        super().__init__(daemon=True)
        self.master, self.slave = pty.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.signature, self.deaf, self.bad_bit = signature, deaf, bad_bit
        self.flash, self.address, self.writes, self.over = {}, 0, 0, False
        self.start()

    def take(self, count):
        got = b""
        while len(got) < count and not self.over:
            if select.select([self.master], [], [], 0.05)[0]:
                got += os.read(self.master, count - len(got))
        return got

    def run(self):
        while not self.over:
            command = self.take(1)
            if command and not self.deaf:
                answer = self.obey(command[0])
                if answer is not None:
                    os.write(self.master, IN_SYNC + answer + OK)

    def obey(self, command):
        if command == 0x64:
            return self.write_page()
        if command not in self.LENGTHS:
            return None
        rest = self.take(self.LENGTHS[command])
        if not rest or rest[-1] != END:
            return None
        if command == 0x41:
            return b"\x03"
        if command == 0x55:
            self.address = 2 * (rest[0] | rest[1] << 8)
        if command == 0x56:
            return self.signature[rest[2]:rest[2] + 1] if rest[0] == 0x30 else b"\x00"
        if command == 0x74:
            count = rest[0] << 8 | rest[1]
            return bytes(self.flash.get(self.address + i, 0xFF) for i in range(count))
        return self.signature if command == 0x75 else b""

    def write_page(self):
        head = self.take(3)
        page = self.take(head[0] << 8 | head[1])
        self.take(1)
        self.writes += 1
        self.flash.update(enumerate(page, self.address))
        if self.bad_bit:
            self.flash[self.address] ^= 4
        return b""


def flash(answer, **board):
    bootloader = Bootloader(**board)
    done = subprocess.run(["sh", SCRIPT, IMAGE, bootloader.port, "115200"], input=answer.encode(),
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=120)
    bootloader.over = True
    bootloader.join()
    return bootloader, done.returncode, done.stdout.decode()


def main():
    board, status, said = flash("yes\n")
    wrong = [at for at, byte in image_bytes().items() if board.flash.get(at) != byte]
    check(status == 0 and not wrong and len(image_bytes()) > 4000 and "Written" in said,
          f"flashes {len(image_bytes())} bytes, and what is read back is the image", said)
    check(said.startswith("an ATmega328P at " + board.port + " answers. Write"),
          "names the board it sees, and asks", said)
    for answer in ("no\n", "\n", "", "y\n"):
        board, status, said = flash(answer)
        check(status != 0 and board.writes == 0 and "Nothing was written." in said,
              f"answered {answer!r} it writes nothing", said)
    board, status, said = flash("yes\n", signature=b"\x1e\x98\x01")
    check(status != 0 and board.writes == 0 and "0x1e,0x98,0x1" in said,
          "another controller: says which, writes nothing", said)
    board, status, said = flash("yes\n", bad_bit=True)
    check(status != 0 and "reads back otherwise" in said, "a bit that does not hold: it says so", said)
    board, status, said = flash("yes\n", deaf=True)
    check(status != 0 and "no bootloader answers" in said, "nobody answers: it says so", said)
    done = subprocess.run(["sh", SCRIPT, IMAGE, "/dev/no-such-port", "115200"], capture_output=True,
                          stdin=subprocess.DEVNULL, timeout=20)
    check(done.returncode == 2 and b"is not there" in done.stderr, "no such port: it says so", done.stderr)
    sys.exit(failed > 0)


main()
