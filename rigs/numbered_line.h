/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The numbered line, for the firmware of a rig:
 *
 *     SEQUENCE,TIME_MS,COUNTS,TEMP_C*CRC16 CR LF        41,4100,-81234,21.50*5DF0
 *
 * rigs/README.md tells what each part is for. Plain C without a library, so that it builds for the
 * smallest controller.
 */
#ifndef NUMBERED_LINE_H
#define NUMBERED_LINE_H

#include <stddef.h>
#include <stdint.h>

enum { NUMBERED_LINE_SIZE = 48 }; /* bytes the longest line takes, its ending NUL included */

/* Writes one line into `line`, of NUMBERED_LINE_SIZE bytes; returns its length. The temperature is
   given in hundredths of a degree C. */
size_t numbered_line(char *line, uint16_t sequence, uint32_t time_ms, int32_t counts,
                     int16_t temp_centi_c);

#endif
