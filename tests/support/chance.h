/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers by chance that are the same in each run: the Mersenne Twister of GSL, from a seed. */
#ifndef UPTHRUST_TESTS_CHANCE_H
#define UPTHRUST_TESTS_CHANCE_H

#include <stddef.h>

struct chance;

/* The caller ends it. */
struct chance *chance_begin(unsigned long seed);
void chance_end(struct chance *chance);

/* A number from 0 up to, but not, `limit`. */
size_t chance_below(struct chance *chance, size_t limit);

#endif
