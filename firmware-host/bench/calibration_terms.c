/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a calibration alone leaves open about a load. */
#include <math.h>

#include "budget.h"
#include "metrology/statistics.h"

/* Data sheets of cheap beams: hysteresis 0.05 % of full scale (published); taken where neither
   staircase nor tares of the calibration show it, of the masses' span. */
static const double HYSTERESIS_UNSEEN_REL = 5e-4;

/* As in the fit; the u of a rounding is as good as known. */
static const double SIGNIFICANT = 0.99, ROUNDING_DOF = 1000;

struct up_term normal(double value, double u) {
    return (struct up_term){.value = value,
                            .u = u,
                            .dof = (double)INFINITY,
                            .distribution = UP_NORMAL,
                            .evaluation = 'B'};
}

struct up_term rectangular(double value, double halfwidth) {
    struct up_term term = normal(value, halfwidth / sqrt(3));
    term.distribution = UP_RECTANGULAR;
    return term;
}

bool is_typed(const struct up_calibration *calibration) {
    return calibration->window_s == 0;
}

/* Masses were also moved in this direction. */
bool is_matched(const struct up_calibration *calibration, bool unloads) {
    bool matched = false;
    for (unsigned i = 0; i < calibration->points; i++) {
        matched = matched || (calibration->point[i].mass_kg < 0) == unloads;
    }
    return matched;
}

/* Without a staircase the tares show how well the zero returns. That is part of the scatter of
   loadings, and so of the trials: a load that hangs as the masses did needs no extra bound. */
double hysteresis_unseen_kg(const struct up_calibration *calibration, double load_kg) {
    bool seen = !isnan(calibration->scatter_kg) && !is_typed(calibration) &&
                is_matched(calibration, load_kg < 0);
    return seen ? 0 : HYSTERESIS_UNSEEN_REL * calibration->span_kg;
}

/* Whether a load was added or removed shifts its reading by at most half the loop's width, either
   way. The loop was seen over the span of the masses; that of a lighter load is narrower: in
   proportion where the metal itself lags, hardly narrower where parts slip on each other. The
   square root lies between (a choice of ours). */
struct up_term hysteresis(const struct up_calibration *calibration, double load_kg) {
    double share = calibration->span_kg > 0 ? fmin(1, fabs(load_kg) / calibration->span_kg) : 1;
    double zero_kg = isnan(calibration->scatter_kg) ? 0 : calibration->scatter_kg;
    double u_kg = calibration->hysteresis_kg / 2 / sqrt(3);
    double halfwidth_kg = isnan(calibration->hysteresis_kg)
                              ? hysteresis_unseen_kg(calibration, load_kg)
                              : sqrt(3 * fmax(0, u_kg * u_kg - zero_kg * zero_kg));
    return rectangular(0, halfwidth_kg * sqrt(share));
}

/* A line through zero departs from the points in proportion to the load: errors of the masses,
   creep that is not quite additive. It was estimated from all points together, so it holds for
   their root mean square. */
struct up_term lack_of_fit(const struct up_calibration *calibration, double load_kg) {
    double squares_kg2 = 0;
    for (unsigned i = 0; i < calibration->points; i++) {
        squares_kg2 += calibration->point[i].mass_kg * calibration->point[i].mass_kg;
    }
    double rms_kg = sqrt(squares_kg2 / fmax(calibration->points, 1));
    return normal(0, rms_kg > 0 ? calibration->lack_of_fit_kg * load_kg / rms_kg
                                : calibration->lack_of_fit_kg);
}

double lightest_kg(const struct up_calibration *calibration) {
    double least_kg = calibration->points > 0 ? (double)INFINITY : 0;
    for (unsigned i = 0; i < calibration->points; i++) {
        least_kg = fmin(least_kg, fabs(calibration->point[i].mass_kg));
    }
    return least_kg;
}

/* Known for the masses that hung; what happens below the lightest is unknown. */
struct up_term offset(const struct up_calibration *calibration, double load_kg) {
    double slope = calibration->slope_counts_per_kg, least_kg = lightest_kg(calibration);
    if (!(calibration->offset_taken > 0)) {
        return normal(0, 0);
    }
    double whole_kg = calibration->offset_counts / slope;
    double share = least_kg > 0 ? fmin(1, load_kg / least_kg) : 1;
    return normal(whole_kg * (1 + share) / 2, hypot(calibration->u_offset_counts / slope,
                                                    whole_kg * (1 - share) / 2 / sqrt(3)));
}

double reads_kg(const struct up_calibration *calibration, double linear_counts) {
    double kg = linear_counts / calibration->slope_counts_per_kg;
    double off_kg = offset(calibration, fabs(kg)).value;
    return kg < 0 ? kg + off_kg : kg - off_kg;
}

/* Loads are made linear to the slope of loading; the slope of unloading may be known less well. */
double u_slope_counts_per_kg(const struct up_calibration *calibration) {
    double u = calibration->u_slope_counts_per_kg;
    double unloading = calibration->unloading_slope_counts_per_kg;
    bool one = isnan(unloading) || unloading == 0; /* 0: of a record that nobody here made */
    return one ? u
               : fmax(u, fabs(calibration->u_unloading_slope_counts_per_kg / unloading *
                              calibration->slope_counts_per_kg));
}

double u_loading_kg(const struct up_calibration *calibration, double load_kg) {
    return isnan(calibration->scatter_kg)
               ? 0
               : hypot(calibration->scatter_kg, calibration->scatter_rel * load_kg);
}

double u_straightness_kg(const struct up_calibration *calibration, double load_kg) {
    return hypot(offset(calibration, load_kg).u,
                 hypot(lack_of_fit(calibration, load_kg).u, hysteresis(calibration, load_kg).u));
}

double up_calibration_expanded_u_kg(const struct up_calibration *calibration, double load_kg) {
    double hung_kg = fabs(load_kg);
    double slope_rel = u_slope_counts_per_kg(calibration) / fabs(calibration->slope_counts_per_kg);
    double masses_rel = calibration->mass_tolerance_rel / sqrt(3);
    double in_proportion_kg = hypot(slope_rel, masses_rel) * hung_kg;
    return 2 * hypot(in_proportion_kg, u_straightness_kg(calibration, load_kg));
}

/* ---- the scale's steps ---- */

static bool explains(double u2, double squares, double dof) {
    return squares <= dof * u2 * up_f_limit(SIGNIFICANT, dof, ROUNDING_DOF);
}

/* Of the masses' means: the same load is rounded the same way each time. */
struct up_rounding up_calibration_rounding(const struct up_calibration *calibration) {
    const struct up_calibration_point *point = calibration->point;
    double squares_g2 = 0, masses = 0, sum_kg = 0, sum_kg2 = 0;
    double g_per_count = 1e3 / fabs(calibration->slope_counts_per_kg);
    double u2 = pow(calibration->division_counts * g_per_count, 2) / 6;
    for (unsigned i = 0; i < calibration->points; i++) {
        double residuals_g = 0, n = 0;
        for (unsigned j = 0; j < calibration->points; j++) {
            bool same = point[j].mass_kg == point[i].mass_kg;
            residuals_g += same ? point[j].residual_g : 0;
            n += same;
        }
        squares_g2 += pow(residuals_g / n, 2) / n;
        masses += 1 / n;
        sum_kg += fabs(point[i].mass_kg) / n;
        sum_kg2 += pow(point[i].mass_kg, 2) / n;
    }
    int terms = 1 + (calibration->quadratic_counts_per_kg2 != 0) +
                !isnan(calibration->unloading_slope_counts_per_kg) +
                (calibration->offset_taken > 0);
    return (struct up_rounding){
        .lack_of_fit = explains(u2, squares_g2, masses - terms),
        .offset = explains(u2 * sum_kg2 / (masses * sum_kg2 - sum_kg * sum_kg),
                           pow(calibration->offset_counts * g_per_count, 2), 1),
        .hysteresis = explains(u2, pow(calibration->hysteresis_kg * 1e3, 2), 1)};
}
