/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does an earlier calibration read known masses right? */
#include <math.h>

#include "budget.h"

/* A wrong slope shows in proportion to the mass; a calibration that leaves more open than half
   a hundredth of it, or a mass that is known no better, says nothing. Choices of ours. */
static const double LEAST_SHARE_OF_SPAN = 0.25, MOST_OPEN_REL = 0.005;

static double tolerance_kg(const struct up_rig *rig, double mass_kg) {
    return rig->mass_class == UP_MASSES_UNCLASSED ? rig->mass_tolerance_rel * mass_kg
                                                  : up_mass_error_kg(rig->mass_class, mass_kg);
}

/* One mass cannot tell a bend from a slope, nor what is hung from what is taken off. */
static bool is_straight(const struct up_calibration *calibration) {
    return calibration->quadratic_counts_per_kg2 == 0 &&
           isnan(calibration->unloading_slope_counts_per_kg);
}

/* All readings of one mass, whose zero comes back alike each time it follows the same mass: only
   what grows with the load averages out. False where it is off, in either direction. */
static bool check_mass(const struct up_calibration *calibration, const struct up_loadings *loadings,
                       double mass_kg, struct up_known_mass *check) {
    double slope = calibration->slope_counts_per_kg, sum_kg = 0, variance_kg2 = 0;
    double u_any = u_loading_kg(calibration, 0), u_loading = u_loading_kg(calibration, mass_kg);
    unsigned n = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        if (point->mass_kg == mass_kg) {
            double u_kg = point->u_plateau_counts / slope;
            sum_kg += reads_kg(calibration,
                               up_calibration_linear_counts(calibration, point->load_counts));
            variance_kg2 += fmax(u_kg * u_kg, u_loading * u_loading - u_any * u_any);
            n++;
        }
    }
    double bound_kg = 2 * hypot(up_calibration_expanded_u_kg(calibration, mass_kg) / 2,
                                hypot(u_any, sqrt(variance_kg2) / n)) +
                      tolerance_kg(&loadings->rig, fabs(mass_kg));
    double off_kg = fabs(sum_kg / n - mass_kg);
    if (!(off_kg <= fabs(check->reading_kg - check->mass_kg)) || check->bound_kg == 0) {
        check->mass_kg = mass_kg;
        check->reading_kg = sum_kg / n;
        check->bound_kg = bound_kg;
    }
    return off_kg <= bound_kg && bound_kg <= MOST_OPEN_REL * fabs(mass_kg);
}

struct up_known_mass up_calibration_known_mass(const struct up_calibration *calibration,
                                               const struct up_loadings *loadings) {
    struct up_known_mass check = {.agrees = loadings->points > 0};
    double most_kg = 0, least_kg = (double)INFINITY;
    for (unsigned i = 0; i < loadings->points; i++) {
        double mass_kg = loadings->point[i].mass_kg;
        check.agrees = check_mass(calibration, loadings, mass_kg, &check) && check.agrees;
        most_kg = fmax(most_kg, fabs(mass_kg));
        least_kg = fmin(least_kg, fabs(mass_kg));
    }
    check.heavy_enough = most_kg >= LEAST_SHARE_OF_SPAN * calibration->span_kg && most_kg > 0;
    check.masses_enough = is_straight(calibration) || 2 * least_kg <= most_kg;
    return check;
}
