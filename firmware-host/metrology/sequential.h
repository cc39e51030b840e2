/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Looking several times must not spend the risk several times over: a boundary that is the same at
 * each of a preset number of looks (S. J. Pocock, Biometrika 64 (1977) 191, from memory; constants
 * as in C. Jennison and B. W. Turnbull, Group Sequential Methods, 2000, table 2.1, whose copies the
 * tests name). It is exact for known variance and looks equally far apart. An error that all looks
 * share raises the correlation between them, which keeps it on the safe side.
 *
 * With an uncertainty of few degrees of freedom the quantile of Student's t at the same level of
 * significance takes its place; that is approximate, slightly above nominal (simulated: 5.1 to
 * 5.8 % where 5 % is meant, two to twelve observations a look). What may have acted one way only is
 * no part of u: its bound is added linearly.
 */
#pragma once

#include <stdbool.h>

#include "upthrust/quantity.h"

enum { UP_SEQUENTIAL_LOOKS_MAX = 10 };

/* The boundary, in standard uncertainties, for the risk `alpha` over all looks: of passing it on
   either side, or on the upper side alone. NaN for none or more than ten looks, and for an alpha
   outside of 0 to 0.5. */
double up_pocock_bound(unsigned analyses, double alpha, bool two_sided);

/* That boundary for an uncertainty with so many degrees of freedom: Student's t at the same level
   of significance. NaN below 0.1 degrees of freedom. */
double up_bound_by_level(double bound, double dof);

/* The repeated confidence interval, which holds at every look whatever made the looking end. The
   estimate may lie above the truth by as much as `too_high`, and below it by `too_low`, beside
   its u. */
struct up_repeated_interval {
    double low, high;
};

struct up_repeated_interval up_repeat_interval(struct up_quantity estimate, double bound,
                                               double too_high, double too_low);
