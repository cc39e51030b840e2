/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Statistics of readings and of calibrations, by GSL. Pure functions.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "upthrust/quantity.h"

/* Mean, experimental standard deviation (n - 1) and lag-1 autocorrelation, two passes.
   sd is NaN for n < 2, lag1 for a constant series. */
struct up_summary {
    size_t count;
    double mean, sd, lag1;
};

struct up_summary up_summarise(const double *value, size_t count);

/* Ascending, in place; made for few values, or for many that are almost in order. */
void up_sort(double *value, size_t count);

/* Median; reorders the array. NaN for an empty one. */
double up_median(double *value, size_t count);

/* Least squares y = sum of c[j] x^j over `terms` powers of x from `first` on (0: a polynomial; 1:
   through zero). `weight`: reciprocal variances, up to a factor; NULL: all alike. Covariance from
   the residuals, as GUM H.3; the residuals' sum of squares is the weighted one. */
enum { UP_FIT_TERMS_MAX = 3 };

struct up_fit {
    size_t count, terms;
    double c[UP_FIT_TERMS_MAX];
    double covariance[UP_FIT_TERMS_MAX][UP_FIT_TERMS_MAX];
    double residual_sum_squares;
    double residual_sd; /* sqrt(residual_sum_squares / dof) */
    double dof;
};

/* False where the data cannot carry the fit: fewer than terms + 1 points, a number that is not
   finite, a weight that is not above zero, x all equal (too few different x). Nothing is printed;
   *fit is zeroed. */
bool up_fit_powers(const double *x, const double *y, const double *weight, size_t count,
                   size_t first, size_t terms, struct up_fit *fit);
bool up_fit_polynomial(const double *x, const double *y, size_t count, size_t terms,
                       struct up_fit *fit);

/* Whether a wider model, with one term more than the narrower within it, is worth that term: F is
   the drop of the residual sum of squares over the wider one's variance. NaN where that is zero. */
double up_f_of_term(const struct up_fit *narrow, const struct up_fit *wide);
/* F that chance alone stays below with this probability; NaN where the arguments make none, and
   below one degree of freedom. */
double up_f_limit(double probability, double dof_1, double dof_2);

/* Student t: the factor k with P(|t| <= k) = probability; dof may be INFINITY. NaN
   below 0.1 dof. */
double up_coverage_factor(double probability, double dof);

/* Effective degrees of freedom, Welch-Satterthwaite (GUM G.4.1), of contributions u[i]. */
double up_effective_dof(const double *u, const double *dof, size_t count);

/* ---- groups ---- */

/* Standard deviations pooled, weighted by their degrees of freedom (GUM H.5.2.2). A group without
   degrees of freedom (a single value, whose sd is NaN) adds nothing. sd is NaN, dof 0 where none
   is left. */
struct up_pool {
    double sd, dof;
};

struct up_pool up_pool_sds(const double *sd, const double *dof, size_t groups);

/* Values with standard uncertainties that may differ by more than these explain: their mean, and
   the standard deviation between them that makes the weighted sum of squares what it should be (R.
   C. Paule and J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377). */
struct up_consensus {
    struct up_quantity mean; /* dof: count - 1 */
    double between_sd;       /* 0 where the uncertainties explain the scatter */
    double chi_squared;      /* about the mean weighted by the uncertainties alone */
    double probability;      /* that chance alone makes it at least as large */
};

/* False for fewer than two values, an uncertainty that is not above zero, a number not finite. */
bool up_find_consensus(const double *value, const double *u, size_t count,
                       struct up_consensus *consensus);

/* ---- Allan deviation, without overlap, of a stream ----
   sqrt of half the mean square of the difference between the means of neighbouring groups of as
   many values as the factor says: 1, 2, 5, 10, ... 2e6. Memory does not grow with the stream. */
enum { UP_ALLAN_FACTORS = 20 };

struct up_allan_group {
    double sum, last;
    unsigned parts; /* of the group that is being filled */
    bool has_last;
    double squares;
    uint64_t pairs;
};

struct up_allan {
    struct up_allan_group group[UP_ALLAN_FACTORS];
    double origin;
    bool has_origin;
};

void up_allan_begin(struct up_allan *allan);
void up_allan_push(struct up_allan *allan, double value);
/* A step or a gap: no group and no pair reaches across it. */
void up_allan_break(struct up_allan *allan);
double up_allan_factor(int index);
/* NaN where there is no pair. */
double up_allan_deviation(const struct up_allan *allan, int index);
/* The index of the least deviation among those with so many pairs; -1 where there is none. */
int up_allan_minimum(const struct up_allan *allan, uint64_t least_pairs);
