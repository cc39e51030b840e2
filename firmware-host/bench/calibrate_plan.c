/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Can these masses calibrate this rig? */
#include <string.h>

#include "calibrating.h"

enum { LEAST_MASSES = 3 };

unsigned calibrate_plan_masses(const struct up_calibrate_plan *plan, double *sorted_kg) {
    unsigned different = 0;
    for (unsigned i = 0; i < plan->masses; i++) {
        double mass_kg = fabs(plan->mass_kg[i]);
        unsigned place = 0;
        while (place < different && sorted_kg[place] < mass_kg) {
            place++;
        }
        if (place == different || sorted_kg[place] != mass_kg) {
            memmove(sorted_kg + place + 1, sorted_kg + place,
                    (different++ - place) * sizeof *sorted_kg);
            sorted_kg[place] = mass_kg;
        }
    }
    return different;
}

static bool check_mass(const struct up_calibrate_plan *plan, unsigned i,
                       struct up_failure *failure) {
    const struct up_rig *rig = plan->rig;
    double mass_kg = fabs(plan->mass_kg[i]);
    if (!isfinite(mass_kg) || mass_kg == 0) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "mass %u is %g g: give a positive mass to hang it, a negative one to remove it", i + 1,
            plan->mass_kg[i] * 1e3);
    }
    if (rig->capacity_kg > 0 && mass_kg + rig->ballast_kg > rig->capacity_kg) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "mass %u of %g kg and the ballast of %g kg are more than the cell's "
                       "capacity of %g kg",
                       i + 1, mass_kg, rig->ballast_kg, rig->capacity_kg);
    }
    return rig->mass_class == UP_MASSES_UNCLASSED ||
           !isnan(up_mass_error_kg(rig->mass_class, mass_kg)) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "mass %u of %.10g g is not in the table of class %s: no pieces of 1 g to 50 kg "
                   "of one set add up to it; give the rig file [masses] tolerance_rel instead",
                   i + 1, mass_kg * 1e3, up_mass_class_name(rig->mass_class));
}

bool calibrate_plan_check(const struct up_calibrate_plan *plan, struct up_failure *failure) {
    double sorted_kg[UP_CALIBRATION_POINTS_MAX];
    unsigned different;
    for (unsigned i = 0; i < plan->masses; i++) {
        if (!check_mass(plan, i, failure)) {
            return false;
        }
    }
    different = calibrate_plan_masses(plan, sorted_kg);
    if (different < LEAST_MASSES && (plan->adopts[0] == '\0' || different == 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a calibration needs three different known masses or more, not %u: two "
                       "points cannot show whether the line is straight",
                       different);
    }
    return plan->rig->line.loads == 1 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s names %d load columns: to weigh, name one in load_field", plan->rig->path,
                   plan->rig->line.loads);
}
