/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Values that do not belong to the others, by the distance from the mean in standard deviations.
 * Pure functions. A test marks a value; it never takes one out of a mean.
 *
 * Source: F. E. Grubbs, Technometrics 11 (1969) 1; B. Rosner, Technometrics 25 (1983) 165; both as
 * in the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 and 1.3.5.17.3.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>

struct up_outlier {
    size_t index;     /* of the value farthest from the mean, the suspect; `count` where none is */
    double statistic; /* |value - mean| / sd, the suspect in both */
    double critical;  /* what that exceeds by chance, at either end, with this significance */
    bool outlier;     /* statistic > critical */
};

/* What the statistic of so many values from one normal distribution exceeds by chance with this
   probability, two-sided, from Student's t. NaN below 3 values, or for a significance outside of
   0 to 1. */
double up_grubbs_critical(size_t count, double significance);

/* Grubbs' test for one outlier at either end. Below 3 values, for a number that is not finite and
   for values all equal there is no statistic (NaN) and no outlier. */
struct up_outlier up_grubbs(const double *value, size_t count, double significance);

/* Rosner's generalised extreme studentised deviate, for up to `most` outliers, which do not hide
   each other as they do from Grubbs' test: test[i] is made without the suspects of those before it.
   Returns how many of them, from the first, are outliers and sets .outlier for these, also where a
   later test found what an earlier one missed. The critical values are good from some 25 values on
   (the e-Handbook, from memory; fair from 15). `scratch` holds count doubles, `test` as many as
   `most`. */
size_t up_rosner(const double *value, size_t count, size_t most, double significance,
                 double *scratch, struct up_outlier *test);
