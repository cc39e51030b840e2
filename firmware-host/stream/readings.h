/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Judged readings in their order, held while a plateau may need them. */
#pragma once

#include "stream/glitch_filter.h"

struct readings {
    struct up_reading *at;
    size_t count, room;
};

/* A stuck reading takes those before it that belong to its run out of the good ones. There is room
   for so many readings, a power of two: the oldest half is dropped where they are too many; returns
   how many were dropped. */
size_t readings_hold(struct readings *readings, const struct up_reading *reading, size_t most);
void readings_drop(struct readings *readings, size_t first);
void readings_free(struct readings *readings);

/* The index of the first one from a time on. */
size_t readings_first_from(const struct readings *readings, double time_s);
/* Of the good ones; NaN where there is none from then on. */
double readings_median_since(const struct readings *readings, double time_s);
/* The largest change of the load from one time to so much later, of medians of three good readings,
   so that one reading alone makes none. */
double readings_largest_change(const struct readings *readings, double within_s);
/* The levels differ so much that a step of the load is to be looked for. */
bool steps_away(double before, double now, double noise_floor);
/* When the load came to stand: the first good reading after all those nearer to the level before
   than to the level now; NULL where there is none such. */
const struct up_reading *readings_step(const struct readings *readings, double before, double now);
