#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Writes the firmware to a board through its bootloader, with avrdude. Says which controller
# answers, and asks before it writes.
#   make flash PORT=/dev/ttyUSB0 [BAUD=115200]
#   rigs/firmware/flash.sh IMAGE PORT BAUD
set -u
image=$1 port=$2 baud=$3
give_up() {
    echo "$1" >&2
    exit "${2:-1}"
}
[ -n "$port" ] || give_up "give PORT: \`upthrust ports\` lists them" 2
[ -e "$port" ] || give_up "$port is not there: plug the board in; \`upthrust ports\` lists the ports" 2
[ -r "$image" ] || give_up "$image is not there: \`make firmware\` builds it" 2
# The protocol of the usual bootloader of these boards, which resets the board as it opens the port.
speak() {
    avrdude -q -q -c arduino -p atmega328p -P "$port" -b "$baud" "$@"
}
said=$(speak -n -F -U signature:r:-:h 2>&1)
signature=$(echo "$said" | grep -oE '0x[0-9a-f]+,0x[0-9a-f]+,0x[0-9a-f]+' | head -n 1)
case $signature in
0x1e,0x95,0xf) board="an ATmega328P" ;; # data sheet, signature bytes
'') give_up "no bootloader answers at $port with $baud bits/s; older ones speak 57600: BAUD=57600. avrdude says: $(echo "$said" | tail -n 1)" ;;
*) give_up "the controller at $port has the signature $signature; this image is for an ATmega328P (0x1e,0x95,0xf). Nothing was written." ;;
esac
printf '%s at %s answers. Write %s to it? What is on it is lost. yes/no: ' "$board" "$port" "$image"
read -r answer || answer=
[ "$answer" = yes ] || give_up "Nothing was written."
said=$(speak -D -U flash:w:"$image":i 2>&1) || give_up "It was not written, or reads back otherwise: write it again. avrdude says: $(echo "$said" | head -n 1)"
echo "Written, and read back the same. The board begins; \`upthrust ports --listen --port $port\` shows it."
