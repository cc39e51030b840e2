/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The numbered line, for the firmware of a rig:
 *
 *     SEQUENCE,TIME_MS,COUNTS,TEMP_C*CRC16 CR LF        41,4100,-81234,21.50*5DF0
 *
 * rigs/README.md explains each part. Plain C without a library, so that it builds for the smallest
 * controller, and without divisions, which take those long.
 */
#ifndef NUMBERED_LINE_H
#define NUMBERED_LINE_H

#include <stddef.h>
#include <stdint.h>

enum { NUMBERED_LINE_SIZE = 48 }; /* bytes the longest line takes, its ending NUL included */

/* No temperature: its column stays empty. */
#define NUMBERED_LINE_NO_TEMP INT16_MIN

/* Writes one line into `line`, of NUMBERED_LINE_SIZE bytes; returns its length. The temperature is
   given in hundredths of a degree C. */
size_t numbered_line(char *line, uint16_t sequence, uint32_t time_ms, int32_t counts,
                     int16_t temp_centi_c);

/* The digits of a number, without an ending NUL; returns where they end. */
char *numbered_line_whole(char *at, uint32_t value);
/* ... of hundredths: "-21.50". */
char *numbered_line_hundredths(char *at, int16_t value);

/* Ends a line of any other text: star, CRC-16 of all before it, CR LF, NUL; 8 bytes. Returns the
   length of the whole. */
size_t numbered_line_seal(char *line, char *end);

#endif
