/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Interim analyses: after counts of trials that were set before, is one of them an outlier, and is
 * all decided? At a confidence raised for it (weighing.h): who looks after every trial spends the
 * risk many times over.
 */
#pragma once

#include "bench/procedure.h"

enum { INTERIM_SUSPECTS_MAX = 2 };

struct interim {
    unsigned analyses;  /* made */
    unsigned asked_for; /* the number of trials when an outlier was last asked about */
    unsigned suspect[INTERIM_SUSPECTS_MAX]; /* indices of the trials that lie off the others */
    unsigned suspects;
};

enum interim_verdict { INTERIM_MORE_TRIALS, INTERIM_OUTLIER, INTERIM_ENOUGH };

enum interim_verdict interim_analyse(struct interim *interim, const struct up_measurement *record,
                                     const struct up_measure_plan *plan);

/* How far apart, in counts, the division alone can put trials that agree. */
double interim_apart_by_rounding(const struct up_measurement *record);

/* How far a suspect lies off the mean of the trials that are not suspect: heavier is positive. */
double interim_suspect_off_kg(const struct interim *interim, const struct up_measurement *record,
                              unsigned which);
