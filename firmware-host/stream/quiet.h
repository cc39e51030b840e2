/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "metrology/statistics.h"
#include "stream/glitch_filter.h"

/*
 * Statistics over the quiet levels of a stream: Allan deviation, with no pair across a step or a
 * glitch, and the straight line through the longest.
 */
struct up_quiet {
    struct up_allan allan;
    uint64_t count; /* of the level so far, and its sums about its first reading */
    double start_s, last_s, start_load, t, y, tt, ty;
    double longest_s, slope_per_s; /* of the longest level; NaN where there is none */
};

void up_quiet_begin(struct up_quiet *quiet);
/* Readings of one level, in order. */
void up_quiet_take(struct up_quiet *quiet, const struct up_reading *reading, size_t count);
/* The level has ended. */
void up_quiet_break(struct up_quiet *quiet);
