/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines that repeat a conversion. */
#pragma once

#include <stdbool.h>
#include <stddef.h>

/*
 * Many boards print each conversion several times. Where the noise is three divisions or more, two
 * equal words in a row are one conversion, up to as many lines as four of five words last.
 */
enum { UP_REPEATS_MEMORY = 16 };

struct up_repeats {
    double division, word;
    unsigned run; /* lines of this word so far */
    double
        per_value; /* lines of one conversion, as the latest runs have it; 1 until they show more */
    unsigned most; /* a line beyond so many of one word is another conversion */
    size_t runs;   /* ended */
    double lines[UP_REPEATS_MEMORY], jump[UP_REPEATS_MEMORY]; /* of the latest, and after each */
};

void repeats_begin(struct up_repeats *repeats, double division);
/* False for a line that repeats a conversion. */
bool repeats_take(struct up_repeats *repeats, double word);
/* The longest run of one word so far, while too few are known to say what is usual; else 0. */
unsigned repeats_longest(const struct up_repeats *repeats);
