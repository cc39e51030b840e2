/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plateaus: where the load stood still. */
#pragma once

#include <stdbool.h>
#include <stddef.h>

#include "stream/glitch_filter.h"

struct up_plateau {
    double start_s, end_s;
    double step_s;       /* when the load came to stand: the time the schedule counts from */
    double load, u_load; /* mean of the window; u allows for correlated readings */
    double tapered; /* of an early window: the mean by weights that vanish at its ends; else 0 */
    /* The same u, or what the means of four parts of the window show where that is less: a swing
       correlates readings and hardly moves a mean. 0: not known. Of few degrees of freedom. */
    double u_parts;
    double slope_per_s; /* of the straight line through the window */
    double sd;          /* about that line */
    /* Over the dwell so far: what the load rises by a decade of time since its step, and how many
       seconds of a steady drift make up a decade there. */
    double decade, s_per_decade;
    double lag1;
    double temp_c; /* mean; NaN where the stream has none */
    unsigned readings, glitches;
    unsigned unstable; /* of the readings: so called by the device */
    double late_s;     /* read this much later than the schedule says */
    double early;      /* it ended early: the load at the full schedule lies within so much */
    double unrest;     /* scatter or rise, the worse, as a share of what the settle rule allows */
};

/*
 * The settle rule, in the rig's own noise: about its straight line a window may scatter by no more
 * than twice the noise floor, and over the window the line may rise by no more than 1.5 floors plus
 * `creep_allowance` (load units; the part that a slow creep explains and the schedule cancels).
 * Fills *plateau in either case; true where the rule holds. Needs 5 readings.
 */
bool up_plateau_judge(const struct up_reading *reading, size_t count, double noise_floor,
                      double creep_allowance, struct up_plateau *plateau);

/* Standard uncertainty of a mean of readings with this lag-1 autocorrelation. */
double mean_uncertainty(double sd, double lag1, size_t count);

/* The settle rule alone, of a window that was described before. Fills unrest too. */
bool is_settled(struct up_plateau *plateau, double noise_floor, double creep_allowance);
