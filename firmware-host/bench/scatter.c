/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Recordings of cheap cells: loadings scatter by 0.2 to 0.4 % of the load, and the zero comes back
 * to within some grams only. So light and heavy loads have different weights in a fit.
 *
 * a: the tares before and after a load differ by d; the load, read against their mean, is off by d
 * / 2 whichever of them was its true zero. b and tau are where the weighted sum of squares is what
 * it should be (R. C. Paule and J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377).
 */
#include "scatter.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

/* No load cell has a share above this; the search stops at a hundredth of its smallest step. */
static const double MOST_REL = 1, STEPS = 60;

double scatter_variance(const struct scatter *scatter, double load) {
    return scatter->a * scatter->a + scatter->b * scatter->b * load * load;
}

/* ---- a ---- */

/* Half the tares' change beside a steady drift, root mean square; at least what the plateaus' own
   noise and two roundings give. */
static double scatter_of_tares(const struct up_loadings *loadings, double rounding) {
    double dt = 0, tt = 0, noise = 0, squares = 0, known = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        double d = loadings->tare_change[i], t = loadings->tare_span_s[i];
        double u = loadings->point[i].u_plateau_counts;
        noise += u * u / loadings->points;
        dt += t > 0 ? d * t : 0;
        tt += t > 0 ? t * t : 0;
        known += t > 0;
    }
    double drift_per_s = known > 2 ? dt / tt : 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        double t = loadings->tare_span_s[i];
        squares += t > 0 ? pow(loadings->tare_change[i] - drift_per_s * t, 2) : 0;
    }
    double of_tares = known > 2 ? squares / (known - 1) / 4 : known > 0 ? squares / known / 4 : 0;
    return sqrt(fmax(of_tares, fmax(noise, rounding * rounding)));
}

/* ---- groups of one mass ---- */

unsigned scatter_replicates(const struct up_loadings *loadings, unsigned point) {
    unsigned count = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        count += loadings->point[i].mass_kg == loadings->point[point].mass_kg;
    }
    return count;
}

static double mean_of_mass(const struct up_loadings *loadings, const double *value,
                           unsigned point) {
    double sum = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        bool same = loadings->point[i].mass_kg == loadings->point[point].mass_kg;
        sum += same ? value[i] : 0;
    }
    return sum / scatter_replicates(loadings, point);
}

/* Squares s[i] with variances fixed[i] + x^2 growing[i] sum up to `dof` at which x? 0 where they
   do not reach it. The sum falls with x. */
struct squares {
    unsigned count;
    double square[UP_CALIBRATION_POINTS_MAX], fixed[UP_CALIBRATION_POINTS_MAX],
        growing[UP_CALIBRATION_POINTS_MAX];
};

static double sum_at(const struct squares *squares, double x) {
    double sum = 0;
    for (unsigned i = 0; i < squares->count; i++) {
        sum += squares->square[i] / (squares->fixed[i] + x * x * squares->growing[i]);
    }
    return sum;
}

static double balance(const struct squares *squares, double dof) {
    double low = 0, high = MOST_REL;
    if (!(dof > 0) || !(sum_at(squares, 0) > dof)) {
        return 0;
    }
    for (int i = 0; i < STEPS; i++) {
        double middle = (low + high) / 2;
        *(sum_at(squares, middle) > dof ? &low : &high) = middle;
    }
    return (low + high) / 2;
}

/* ---- b ---- */

/* Where rounding is the largest scatter, a share within chance (99 %) is taken as none: otherwise
   the lightest masses, which rounding affects most, would dominate the fit. */
static bool is_rounding(const struct scatter *scatter, const struct squares *squares, double dof) {
    return scatter->a <= 2 * scatter->rounding && dof > 0 &&
           sum_at(squares, 0) < gsl_cdf_chisq_Pinv(0.99, dof);
}

static double share_of(const struct scatter *scatter, const struct squares *squares, double dof) {
    return scatter->a > 0 && !is_rounding(scatter, squares, dof) ? balance(squares, dof) : 0;
}

struct scatter scatter_of(const struct up_loadings *loadings, double slope) {
    struct scatter scatter = {.rounding = loadings->rig.division_counts / sqrt(6)};
    struct squares squares = {.count = loadings->points};
    double load[UP_CALIBRATION_POINTS_MAX], earlier_dof = loadings->history.scatter_dof;
    scatter.a = scatter_of_tares(loadings, scatter.rounding);
    for (unsigned i = 0; i < loadings->points; i++) {
        load[i] = loadings->point[i].load_counts;
    }
    for (unsigned i = 0; i < loadings->points; i++) {
        squares.square[i] = pow(load[i] - mean_of_mass(loadings, load, i), 2);
        squares.fixed[i] = scatter.a * scatter.a;
        squares.growing[i] = pow(slope * loadings->point[i].mass_kg, 2);
        scatter.own_dof += 1 - 1.0 / scatter_replicates(loadings, i);
    }
    scatter.own_b = share_of(&scatter, &squares, scatter.own_dof);
    double b2 = scatter.own_b * scatter.own_b * scatter.own_dof;
    double earlier2 = earlier_dof > 0 ? pow(loadings->history.scatter_rel, 2) * earlier_dof : 0;
    double dof = scatter.own_dof + fmax(earlier_dof, 0);
    scatter.b = dof > 0 ? sqrt((b2 + earlier2) / dof) : 0;
    return scatter;
}

/* More loadings of a mass do not reduce the rounding. */
double scatter_of_mean(const struct up_loadings *loadings, const struct scatter *scatter,
                       unsigned point, double load) {
    return fmax(scatter_variance(scatter, load) / scatter_replicates(loadings, point),
                scatter->rounding * scatter->rounding);
}

/* ---- tau ---- */

/* A mean enters the sums once per loading, each time with its share of one. */
double scatter_between(const struct up_loadings *loadings, const struct scatter *scatter,
                       double slope, const double *off, double dof) {
    struct squares squares = {.count = loadings->points};
    for (unsigned i = 0; i < loadings->points; i++) {
        double load = slope * loadings->point[i].mass_kg, n = scatter_replicates(loadings, i);
        squares.square[i] = pow(mean_of_mass(loadings, off, i), 2) / n;
        squares.fixed[i] = scatter_of_mean(loadings, scatter, i, load);
        squares.growing[i] = load * load;
    }
    return share_of(scatter, &squares, dof);
}
