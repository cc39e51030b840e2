/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Values in groups, and values with uncertainties of their own. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>

#include "metrology/gsl_errors.h"
#include "metrology/statistics.h"

#define NO_NUMBER ((double)NAN)

/* ---- analysis of variance ---- */

bool up_anova(const double *value, const size_t *count, size_t groups, struct up_anova *anova) {
    size_t all = 0;
    double between = 0, within = 0, squares = 0;
    *anova = (struct up_anova){0};
    for (size_t g = 0; g < groups; g++) {
        if (count[g] == 0) {
            return false;
        }
        all += count[g];
    }
    if (groups < 2 || all <= groups) {
        return false;
    }
    double mean = gsl_stats_mean(value, 1, all);
    for (size_t g = 0; g < groups; value += count[g++]) {
        double n = (double)count[g], own = gsl_stats_mean(value, 1, count[g]);
        between += n * gsl_pow_2(own - mean);
        within += gsl_stats_tss_m(value, 1, count[g], own);
        squares += n * n;
    }
    if (!isfinite(between) || !isfinite(within)) {
        return false;
    }
    anova->mean = mean;
    anova->between_dof = (double)(groups - 1);
    anova->within_dof = (double)(all - groups);
    anova->between_mean_square = between / anova->between_dof;
    anova->within_mean_square = within / anova->within_dof;
    anova->f = within > 0 ? anova->between_mean_square / anova->within_mean_square : NO_NUMBER;
    up_gsl_answers();
    anova->probability =
        within > 0 ? gsl_cdf_fdist_Q(anova->f, anova->between_dof, anova->within_dof) : NO_NUMBER;
    /* The size of a group; where they differ, that which keeps the estimate free of bias. */
    double size = ((double)all - squares / (double)all) / anova->between_dof;
    anova->between_sd =
        sqrt(fmax(anova->between_mean_square - anova->within_mean_square, 0) / size);
    return true;
}

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

double up_pool_probability(double sd, double dof, const struct up_pool *pool) {
    if (!(dof > 0 && pool->dof > 0 && sd >= 0 && pool->sd > 0 && isfinite(sd))) {
        return NO_NUMBER;
    }
    up_gsl_answers();
    double f = gsl_pow_2(sd / pool->sd);
    return 2 * fmin(gsl_cdf_fdist_P(f, dof, pool->dof), gsl_cdf_fdist_Q(f, dof, pool->dof));
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
