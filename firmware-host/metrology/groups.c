/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Standard deviations of groups, and values with uncertainties of their own. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_statistics_double.h>

#include "metrology/gsl_errors.h"
#include "metrology/statistics.h"

#define NO_NUMBER ((double)NAN)

/* ---- pooled standard deviation ---- */

struct up_pool up_pool_sds(const double *sd, const double *dof, size_t groups) {
    struct up_pool pool = {NO_NUMBER, 0};
    double squares = 0;
    for (size_t g = 0; g < groups; g++) {
        if (dof[g] > 0) {
            squares += dof[g] * sd[g] * sd[g];
            pool.dof += dof[g];
        }
    }
    if (pool.dof > 0) {
        pool.sd = sqrt(squares / pool.dof);
    }
    return pool;
}

/* ---- consensus ---- */

struct weighted {
    double mean, weight, squares; /* squares: of the deviations over their uncertainties */
};

static struct weighted weigh(const double *value, const double *u, size_t count, double between) {
    struct weighted sum = {0};
    for (size_t i = 0; i < count; i++) {
        double weight = 1 / (u[i] * u[i] + between);
        sum.weight += weight;
        sum.mean += weight * (value[i] - value[0]);
    }
    sum.mean = value[0] + sum.mean / sum.weight;
    for (size_t i = 0; i < count; i++) {
        sum.squares += gsl_pow_2(value[i] - sum.mean) / (u[i] * u[i] + between);
    }
    return sum;
}

/* The sum of squares is a falling and convex function of the variance between (Paule and Mandel, as
   above), so that Newton's steps from zero climb to the root and never pass it. */
static double variance_between(const double *value, const double *u, size_t count) {
    double between = 0;
    for (int step = 0; step < 200; step++) {
        struct weighted sum = weigh(value, u, count, between);
        double excess = sum.squares - (double)(count - 1), slope = 0;
        for (size_t i = 0; i < count; i++) {
            slope += gsl_pow_2((value[i] - sum.mean) / (u[i] * u[i] + between));
        }
        if (!(excess > 0)) {
            break;
        }
        double next = between + excess / slope;
        if (!(next > between * (1 + 1e-14))) {
            break;
        }
        between = next;
    }
    return between;
}

bool up_find_consensus(const double *value, const double *u, size_t count,
                       struct up_consensus *consensus) {
    *consensus = (struct up_consensus){0};
    for (size_t i = 0; i < count; i++) {
        if (!(isfinite(value[i]) && u[i] > 0 && isfinite(u[i]))) {
            return false;
        }
    }
    if (count < 2) {
        return false;
    }
    double dof = (double)(count - 1);
    double between = variance_between(value, u, count);
    struct weighted alone = weigh(value, u, count, 0), with = weigh(value, u, count, between);
    consensus->mean = (struct up_quantity){with.mean, sqrt(1 / with.weight), dof};
    consensus->between_sd = sqrt(between);
    consensus->chi_squared = alone.squares;
    up_gsl_answers();
    consensus->probability = gsl_cdf_chisq_Q(alone.squares, dof);
    return true;
}
