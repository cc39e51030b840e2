/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef UPTHRUST_BENCH_REPEATS_H
#define UPTHRUST_BENCH_REPEATS_H

#include "upthrust/bench.h"

void repeats_begin(struct up_repeats *repeats, double division);
/* False for a line that repeats a conversion. */
bool repeats_take(struct up_repeats *repeats, double word);
/* The longest run of one word so far, while too few are known to say what is usual; else 0. */
unsigned repeats_longest(const struct up_repeats *repeats);

#endif
