/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does an earlier calibration read a known mass right? */
#include <math.h>

#include "upthrust/measurement.h"

/* A wrong slope shows in proportion to the mass. A choice of ours. */
static const double LEAST_SHARE_OF_SPAN = 0.25;

static double tolerance_kg(const struct up_rig *rig, double mass_kg) {
    return rig->mass_class == UP_MASSES_UNCLASSED ? rig->mass_tolerance_rel * mass_kg
                                                  : up_mass_error_kg(rig->mass_class, mass_kg);
}

struct up_known_mass up_calibration_known_mass(const struct up_calibration *calibration,
                                               const struct up_loadings *loadings) {
    struct up_known_mass check = {0};
    double slope = calibration->slope_counts_per_kg, variance_kg2 = 0, tolerances_kg = 0;
    unsigned n = loadings->points;
    for (unsigned i = 0; i < n; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        double u_kg = point->u_plateau_counts / slope;
        check.mass_kg += fabs(point->mass_kg) / n;
        check.reading_kg +=
            fabs(up_calibration_linear_counts(calibration, point->load_counts) / slope) / n;
        variance_kg2 += u_kg * u_kg / (n * n);
        tolerances_kg += tolerance_kg(&loadings->rig, fabs(point->mass_kg)) / n;
    }
    check.bound_kg =
        hypot(up_calibration_expanded_u_kg(calibration, check.mass_kg), 2 * sqrt(variance_kg2)) +
        tolerances_kg;
    check.heavy_enough = check.mass_kg >= LEAST_SHARE_OF_SPAN * calibration->span_kg;
    check.agrees = n > 0 && fabs(check.reading_kg - check.mass_kg) <= check.bound_kg;
    return check;
}
