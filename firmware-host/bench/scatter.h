/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How loadings scatter: u^2 = a^2 + (b L)^2. */
#pragma once

#include "upthrust/measurement.h"

struct scatter {
    double a;        /* of any loading, counts: how its tares come back */
    double b;        /* in proportion to it: what replicates show beside that */
    double own_b;    /* b as these replicates alone have it */
    double own_dof;  /* 0: there are none */
    double rounding; /* of a reading and its tare, counts: it repeats with the mass */
};

/* `slope`: counts a kilogram, roughly. */
struct scatter scatter_of(const struct up_loadings *loadings, double slope);
/* Variance of one loading, in the square of a's unit. */
double scatter_variance(const struct scatter *scatter, double load);
/* Variance of the mean of all loadings of a point's mass. */
double scatter_of_mean(const struct up_loadings *loadings, const struct scatter *scatter,
                       unsigned point, double load);
/* The share tau of the load by which the masses' means lie off the line beyond their scatter;
   `off`: each point's departure from the line in counts, `dof`: of the masses' means about it. */
double scatter_between(const struct up_loadings *loadings, const struct scatter *scatter,
                       double slope, const double *off, double dof);
/* How many points are of the same mass as this one, itself included. */
unsigned scatter_replicates(const struct up_loadings *loadings, unsigned point);
