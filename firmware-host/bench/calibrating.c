/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "internal.h"
#include "upthrust/text.h"

enum { LEAST_MASSES = 3 };

/* ---- the plan ---- */

/* Different masses, rising, whether they are hung or taken off. Returns how many. */
static unsigned sort_masses(const struct up_calibrate_plan *plan, double *sorted_kg) {
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
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "mass %u is %g g: a mass must be positive to be hung, negative to be taken "
                       "off",
                       i + 1, plan->mass_kg[i] * 1e3);
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

static bool check_plan(const struct up_calibrate_plan *plan, struct up_failure *failure) {
    double sorted_kg[UP_CALIBRATION_POINTS_MAX];
    unsigned different;
    for (unsigned i = 0; i < plan->masses; i++) {
        if (!check_mass(plan, i, failure)) {
            return false;
        }
    }
    different = sort_masses(plan, sorted_kg);
    if (different < LEAST_MASSES) {
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

bool up_procedure_calibrate(const struct up_calibrate_plan *plan, struct up_procedure **result,
                            struct up_failure *failure) {
    struct up_procedure *procedure;
    *result = NULL;
    if (!check_plan(plan, failure)) {
        return false;
    }
    procedure = up_allocate(1, sizeof *procedure);
    procedure->calibrating = true;
    procedure->calibrate = *plan;
    procedure->loadings.rig = *plan->rig;
    procedure->rig = &procedure->loadings.rig;
    procedure->measurement.water_temp_c = (double)NAN;
    up_glitch_filter_begin(&procedure->filter, plan->rig->line.word_bits,
                           plan->rig->division_counts);
    procedure->loadings.stair_masses = sort_masses(plan, procedure->loadings.stair_kg);
    ask_step(procedure, STEP_BALLAST);
    *result = procedure;
    return true;
}

/* ---- the sequence: preload, tare, mass, tare, mass, ... tare; then the staircase ---- */

static bool is_unloading(const struct up_procedure *procedure) {
    return procedure->mass_index < procedure->calibrate.masses &&
           procedure->calibrate.mass_kg[procedure->mass_index] < 0;
}

double calibrate_mass_kg(const struct up_procedure *procedure) {
    unsigned heaviest = procedure->loadings.stair_masses - 1;
    if (procedure->step == STEP_PRELOAD) {
        return procedure->loadings.stair_kg[heaviest];
    }
    if (procedure->step == STEP_STAIR) {
        unsigned stair = procedure->loadings.stairs;
        return procedure->loadings.stair_kg[stair <= heaviest ? stair : 2 * heaviest - stair];
    }
    return fabs(procedure->calibrate.mass_kg[procedure->mass_index]);
}

/* The tare after a mass completes its point. */
static void complete_point(struct up_procedure *procedure, const struct up_indication *after) {
    const struct up_indication *mass = &procedure->mass;
    struct up_calibration_point *point = &procedure->loadings.point[procedure->loadings.points];
    double u_tare = 0;
    double tare = tare_at(&procedure->tare, after, mass->time_s, &u_tare);
    double span_s = after->time_s - procedure->tare.time_s;
    double drift_per_s = span_s > 0 ? (after->load - procedure->tare.load) / span_s : 0;
    point->mass_kg = procedure->calibrate.mass_kg[procedure->mass_index];
    point->load_counts = mass->load - tare;
    point->u_plateau_counts = hypot(mass->u_load, u_tare);
    procedure->loadings.slope_per_s[procedure->loadings.points++] = mass->slope_per_s - drift_per_s;
    procedure->mass_index++;
}

static void ask_tare(struct up_procedure *procedure) {
    ask_step(procedure, is_unloading(procedure) ? STEP_HUNG_TARE : STEP_TARE);
}

/* A tare serves on both sides, as long as the same hangs at it. */
static void next_mass(struct up_procedure *procedure) {
    bool done = procedure->mass_index >= procedure->calibrate.masses;
    bool unloading = is_unloading(procedure);
    double tare_kg = unloading ? -procedure->calibrate.mass_kg[procedure->mass_index] : 0;
    if (done && !procedure->calibrate.staircase) {
        finish(procedure);
    } else if (!procedure->tare.known || procedure->tare_kg != tare_kg) {
        ask_tare(procedure);
    } else if (done) {
        begin_stairs(procedure);
    } else {
        ask_step(procedure, unloading ? STEP_UNLOAD : STEP_MASS);
    }
}

static void keep_past(struct up_procedure *procedure, const struct up_indication *here) {
    if (procedure->loadings.pasts == UP_INDICATIONS_MAX) {
        memmove(procedure->loadings.past, procedure->loadings.past + 1,
                --procedure->loadings.pasts * sizeof *here);
    }
    procedure->loadings.past[procedure->loadings.pasts++] = *here;
}

static void read_tare(struct up_procedure *procedure, const struct up_indication *here) {
    procedure->tare_kg = procedure->step == STEP_HUNG_TARE ? calibrate_mass_kg(procedure) : 0;
    if (procedure->mass.known) {
        complete_point(procedure, here);
    }
    procedure->mass.known = false;
    procedure->tare = *here;
    next_mass(procedure);
}

static void read_stair(struct up_procedure *procedure, const struct up_indication *here) {
    procedure->loadings.stair[procedure->loadings.stairs++] = *here;
    ask_step(procedure, procedure->loadings.stairs < 2 * procedure->loadings.stair_masses - 1
                            ? STEP_STAIR
                            : STEP_STAIR_END);
}

void calibrate_read(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct up_indication here = point_of(plateau);
    procedure->broken = 0;
    procedure->loadings.noise_counts = procedure->filter.noise_floor;
    keep_past(procedure, &here);
    if (procedure->step == STEP_PRELOAD) {
        procedure->loadings.preloaded = true;
        next_mass(procedure);
    } else if (procedure->step == STEP_MASS || procedure->step == STEP_UNLOAD) {
        procedure->mass = here;
        ask_tare(procedure);
    } else if (procedure->step == STEP_STAIR) {
        read_stair(procedure, &here);
    } else if (procedure->step == STEP_STAIR_END) {
        procedure->loadings.stair_end = here;
        finish(procedure);
    } else {
        read_tare(procedure, &here);
    }
}

void calibrate_skip(struct up_procedure *procedure) {
    if (procedure->step == STEP_BALLAST) {
        ask_step(procedure, STEP_PRELOAD);
    } else if (procedure->step == STEP_STAIR) {
        finish(procedure); /* a staircase with a step left out tells nothing */
    } else {
        procedure->mass_index += procedure->step != STEP_PRELOAD;
        next_mass(procedure);
    }
}

/* The loading or the staircase under way is thrown away; it begins anew with a tare. */
void calibrate_break(struct up_procedure *procedure) {
    procedure->mass.known = false;
    if (procedure->step == STEP_BALLAST || procedure->step == STEP_PRELOAD) {
        ask_step(procedure, procedure->step);
    } else {
        ask_tare(procedure);
    }
}
